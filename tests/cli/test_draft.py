"""What is written appears whole or not at all."""

from pathlib import Path

import pytest

from evenfield.cli.draft import draft


def everything_in(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


@pytest.mark.parametrize("folder", [False, True])
@pytest.mark.parametrize("end", [KeyboardInterrupt, RuntimeError])
def test_a_draft_that_ends_badly_leaves_nothing(
    tmp_path: Path, folder: bool, end: type[BaseException]
) -> None:
    def half() -> None:
        with draft(tmp_path / "new" / "demo", folder=folder) as path:
            (path / "half" if folder else path).write_text("half")
            raise end

    with pytest.raises(end):
        half()
    assert everything_in(tmp_path) == []


def test_a_folder_appears_with_its_parents(tmp_path: Path) -> None:
    with draft(tmp_path / "new" / "demo", folder=True) as path:
        (path / "a").write_text("1")
        assert not (tmp_path / "new").exists()
    assert everything_in(tmp_path) == ["new", "new/demo", "new/demo/a"]


def test_a_folder_that_is_there_keeps_other_files(tmp_path: Path) -> None:
    (tmp_path / "demo").mkdir()
    (tmp_path / "demo" / "mine").write_text("mine")
    (tmp_path / "demo" / "a").write_text("old")
    with draft(tmp_path / "demo", folder=True) as path:
        (path / "a").write_text("new")
        assert (tmp_path / "demo" / "a").read_text() == "old"
    assert everything_in(tmp_path) == ["demo", "demo/a", "demo/mine"]
    assert (tmp_path / "demo" / "a").read_text() == "new"
    assert (tmp_path / "demo" / "mine").read_text() == "mine"


def test_a_file_is_replaced_in_one_step(tmp_path: Path) -> None:
    (tmp_path / "f.json").write_text("old")
    with draft(tmp_path / "f.json") as path:
        path.write_text("new")
        assert (tmp_path / "f.json").read_text() == "old"
    assert (tmp_path / "f.json").read_text() == "new"
    assert everything_in(tmp_path) == ["f.json"]
