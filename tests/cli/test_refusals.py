"""Bad input: one sentence on stderr, exit status 2, nothing written; and what else ends a command early."""

import subprocess
import sys
from pathlib import Path

import pytest

from evenfield.cli import main
from tests.report.coarse import EXAMPLES

GOOD = (EXAMPLES / "upper_arm.toml").read_text(encoding="utf-8")
FAULTS = {
    "unknown key": (GOOD.replace("skin_mm", "skin_cm"), "skin_cm"),
    "wrong unit": (GOOD.replace("[290, 300, 315]", "[29, 30, 31.5]"), "girth_mm"),
    "missing girth": (GOOD.replace("girth_mm = [290, 300, 315]", ""), "girth_mm"),
    "not TOML": ("title = ", "not valid TOML"),
    "too much fat": (GOOD.replace("front = 12", "front = 60"), "fat_mm"),
    "panel through the skin": (GOOD.replace("gap_mm = 12", "gap_mm = -3", 1), "gap_mm"),
    "edge touches": (GOOD.replace("gap_mm = 12", "gap_mm = 6\ntilt_along_deg = 12", 1), "tilt_along_deg"),
    "panels overlap": (GOOD.replace("angle_deg = 270", "angle_deg = 100"), "panel"),
    "off the region": (GOOD.replace("level_mm = 0", "level_mm = 150", 1), "level_mm"),
    "tissue set not in UTF-8": (GOOD + '\n[tissue]\nset = "latin.toml"\n', "not text in UTF-8 (byte 10)"),
    "unknown tissue set": (GOOD + '\n[tissue]\nset = "nowhere.toml"\n', "tissue.set"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_bad_case_is_one_sentence_and_nothing_is_written(
    fault: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text, named = FAULTS[fault]
    case, latin = tmp_path / "case.toml", tmp_path / "latin.toml"
    case.write_text(text, encoding="utf-8")
    latin.write_text('title = "é"', encoding="latin-1")
    out, lone = tmp_path / "out" / "demo", tmp_path / "f.json"
    assert main(["forecast", str(case), "--out", str(out), "--json", str(lone)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith(str(case))
    assert told.err.count("\n") == 1
    assert named in told.err
    assert sorted(tmp_path.iterdir()) == [case, latin]


def test_a_missing_case_is_told_by_the_installed_program(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "evenfield", "forecast", "none.toml", "--json", "-"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
    )
    assert (run.returncode, run.stdout) == (2, "")
    assert run.stderr == "none.toml: there is no such file\n"


@pytest.mark.parametrize("option", ["--out", "--json"])
def test_a_destination_that_cannot_be_is_told_before_computing(
    option: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "taken"
    if option == "--out":
        place.write_text("a file")
    else:
        place.mkdir()
    assert main(["forecast", str(EXAMPLES / "upper_arm.toml"), option, str(place)]) == 2
    assert capsys.readouterr().err.startswith(f"{place}: this is a ")
    assert sorted(tmp_path.iterdir()) == [place]


@pytest.mark.parametrize("command", ["forecast", "place", "uncertainty"])
@pytest.mark.parametrize("option", ["--out", "--json"])
def test_an_empty_name_is_not_the_current_folder(
    command: str, option: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert main([command, str(EXAMPLES / "upper_arm.toml"), option, ""]) == 2
    told = capsys.readouterr()
    assert (told.out, told.err.count("\n")) == ("", 1)
    assert told.err.startswith(f"{option} is empty; allowed: ")
    assert list(tmp_path.iterdir()) == []


def test_a_command_used_wrongly_is_status_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["forecast"]) == 2
    assert "CASE.toml" in capsys.readouterr().err


def test_a_defect_keeps_its_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(path: Path) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("evenfield.case.read_case", broken)
    with pytest.raises(ZeroDivisionError):
        main(["forecast", "x.toml"])


def test_help_comes_without_the_engine() -> None:
    """What takes long to import is imported when it is needed."""
    code = (
        "import sys; from evenfield.cli import main; main(['--help']); "
        "print(sorted({'numpy', 'numba', 'matplotlib', 'django', 'typst', 'pydantic'} & set(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.endswith("[]\n"), run.stdout
    assert "forecast" in run.stdout


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    from evenfield import __version__

    assert main(["version"]) == 0
    assert capsys.readouterr().out == f"evenfield {__version__}\n"


def test_verify_refuses_an_unknown_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", "--select", "no such check"]) == 2
    assert capsys.readouterr().err.startswith("no check is called no such check; subjects are ")
