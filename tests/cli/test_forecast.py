"""`evenfield forecast` from end to end: on a real case of two minutes, cancelled, and in its summary."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from evenfield.cli.summary import print_summary
from evenfield.forecast import DECIDES
from tests.report.coarse import EXAMPLES, coarse_forecast

SHORT = (
    (EXAMPLES / "upper_arm.toml")
    .read_text(encoding="utf-8")
    .replace("minutes = 30", "minutes = 2")
    .replace("power_w", "absorbed_w")
)


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "case.toml"
    path.write_text(SHORT, encoding="utf-8")
    return path


@pytest.mark.slow
def test_a_forecast_writes_report_figures_and_json(case: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "evenfield", "forecast", str(case), "--out", "out/demo", "--json", "-"],
        cwd=case.parent,
        capture_output=True,
        text=True,
        check=True,
    )
    out = case.parent / "out" / "demo"
    names = {"report.pdf", "forecast.json"}
    names |= {f"{n}.{e}" for n in ("section", "maps", "in_time", "shares") for e in ("svg", "png")}
    assert {path.name for path in out.iterdir()} == names
    assert sorted(case.parent.iterdir()) == [case, case.parent / "out"], "no draft is left"
    printed = json.loads(run.stdout)
    assert printed == json.loads((out / "forecast.json").read_text(encoding="utf-8"))
    assert printed["numerics"]["unknowns"] >= 150_000
    assert printed["heat"]["peak_c"]["fat"] > printed["case"]["session.baseline_c"]
    assert run.stderr == "", "nobody looks at a progress bar in a pipe"


def test_ctrl_c_leaves_nothing(case: Path) -> None:
    program = subprocess.Popen(
        [sys.executable, "-m", "evenfield", "forecast", str(case), "--out", "out", "--json", "f.json"],
        cwd=case.parent,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # tests run in the background inherit an ignored Ctrl-C
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    for _ in range(3000):
        if len(list(case.parent.iterdir())) > 2 or program.poll() is not None:
            break  # both drafts are begun: it computes
        time.sleep(0.02)
    assert len(list(case.parent.iterdir())) == 3
    os.kill(program.pid, signal.SIGINT)
    out, err = program.communicate(timeout=400)  # without compiled kernels it is heard after compiling
    # Python ends by the signal itself, which a shell tells as 130 too, where Ctrl-C came while exec() ran a
    # text (dataclasses at import): run_eval_code_obj in CPython's pythonrun.c (from memory)
    assert program.returncode in (130, -signal.SIGINT), err
    assert (out, err) == ("", "Cancelled: nothing half-written is left.\n")
    assert sorted(case.parent.iterdir()) == [case]


def test_the_summary_says_what_must_be_said(capsys: pytest.CaptureFixture[str]) -> None:
    f = coarse_forecast()
    print_summary(f, [Path("out/report.pdf")])
    words = " ".join(capsys.readouterr().out.split())
    wanted = [
        f.case.title,
        "fat kind: average infiltrated",
        "Inner panel: flat, 90 × 140 mm, at 90°, level 0 mm, gap 12 mm",
        f"{f.peak_c['fat']:.1f} °C",
        f"{f.peak_c['skin']:.1f} °C",
        "Evenness",
        "Absorbed power goes to fat",
        "0.35 to 0.75",
        "session.absorbed_fraction",
        DECIDES,
        "out/report.pdf",
    ]
    missing = [text for text in wanted if text not in words]
    assert not missing
    assert "safe" not in words.lower()
