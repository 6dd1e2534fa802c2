"""What `uncertainty` and `advise` refuse, in one sentence and with nothing written."""

import subprocess
import sys
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


def test_an_address_without_a_port_is_one_sentence() -> None:
    """To the end of the process: a client half made complains when it is taken away."""
    command = [sys.executable, "-m", "evenfield", "advise", str(ARM), "--dask", "nonsense"]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    told = "no Dask scheduler answers at \"nonsense\": missing port number in address 'nonsense'\n"
    assert (run.returncode, run.stderr) == (2, told)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (("power_w = 28", "power_w = 0"), "session.power_w: no power above 0 W"),
        (("power_w = 28", "absorbed_w = 0"), "session.absorbed_w: no power above 0 W"),
        (
            ("power_w = 28", "steps = [{ minute = 0, power_w = 0 }, { minute = 5, power_w = 0 }]"),
            "session.steps: no power above 0 W",
        ),
        (("minutes = 30", "minutes = 9"), "session.minutes = 9: a search needs a visit of at least 10 min"),
    ],
)
def test_nothing_to_search(
    changed: tuple[str, str], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = tmp_path / "case.toml"
    case.write_text(ARM.read_text(encoding="utf-8").replace(*changed), encoding="utf-8")
    assert main(["advise", str(case), "--workers", "1", "--json", str(tmp_path / "advice.json")]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"{case}: {words}")
    assert told.count("\n") == 1
    assert list(tmp_path.iterdir()) == [case]
