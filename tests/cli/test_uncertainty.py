"""What `uncertainty` and `advise` refuse, in one sentence and with nothing written."""

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from evenfield.cli import main

ARM = Path(__file__).parents[2] / "examples" / "upper_arm.toml"


@pytest.mark.parametrize("command", ["uncertainty", "advise"])
def test_a_case_that_is_not_there(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "nowhere.toml"]) == 2
    assert "nowhere.toml" in capsys.readouterr().err


@pytest.mark.slow
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


@pytest.mark.slow
@pytest.mark.parametrize("command", ["uncertainty", "advise"])
def test_ctrl_c_ends_the_workers_and_leaves_nothing(command: str, tmp_path: Path) -> None:
    """In a terminal, where Ctrl-C goes to every process of the command."""
    leading, following = os.openpty()
    program = subprocess.Popen(
        [sys.executable, "-m", "evenfield", command, str(ARM), "--workers", "2", "--json", "j.json"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=following,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    os.close(following)
    told = Heard(leading)
    told.wait_for("how heat spreads")
    group = working_in(program.pid)
    os.killpg(program.pid, signal.SIGINT)
    out, _ = program.communicate(timeout=400)
    told.join()
    assert (program.returncode, out) == (130, "")
    assert "Stopping …" in told.text
    assert told.text.rstrip().endswith("Cancelled: nothing half-written is left.")
    assert "Traceback" not in told.text
    assert "leaked" not in told.text
    assert len(group) >= 3, "the leading process and two workers"
    until = time.monotonic() + 60.0  # the one that watches over shared resources ends after its parent
    while working_in(program.pid) and time.monotonic() < until:
        time.sleep(0.1)
    assert working_in(program.pid) == []
    assert list(tmp_path.iterdir()) == []


def working_in(group: int) -> list[int]:
    """Processes of a process group that have not ended."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            state, _, its_group = stat.read_text().rpartition(") ")[2].split()[:3]
            if int(its_group) == group and state != "Z":
                found.append(int(stat.parent.name))
    return found


class Heard(threading.Thread):
    """What a terminal shows, read as it comes."""

    def __init__(self, leading: int) -> None:
        super().__init__(daemon=True)
        self.leading, self.text = leading, ""
        self.start()

    def run(self) -> None:
        with contextlib.suppress(OSError):  # the other side is closed
            while part := os.read(self.leading, 4096):
                self.text += part.decode(errors="replace")

    def wait_for(self, words: str) -> None:
        for _ in range(6000):
            if words in self.text:
                return
            self.join(0.05)
        raise AssertionError(self.text)


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
