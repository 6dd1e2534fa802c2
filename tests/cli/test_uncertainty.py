"""What `uncertainty` and `advise` refuse, in one sentence and with nothing written."""

from pathlib import Path

import pytest

from evenfield.cli import main

ARM = Path(__file__).parents[2] / "examples" / "upper_arm.toml"


@pytest.mark.parametrize("command", ["uncertainty", "advise"])
def test_a_case_that_is_not_there(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "nowhere.toml"]) == 2
    assert "nowhere.toml" in capsys.readouterr().err


def test_a_cluster_that_does_not_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    assert main(["uncertainty", str(ARM), "--dask", "tcp://127.0.0.1:1", "--out", str(out)]) == 2
    told = capsys.readouterr().err
    assert "no Dask scheduler answers" in told
    assert not out.exists()
    assert list(tmp_path.iterdir()) == []
