"""One whole forecast: in a process that is warm, in a fresh process, and in one that must compile first."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from evenfield.case import read_case
from evenfield.forecast import forecast

EXAMPLE = Path(__file__).parents[1] / "examples" / "thigh.toml"
_ONCE = (
    "import sys; from evenfield.case import read_case; from evenfield.forecast import forecast; "
    "forecast(read_case(sys.argv[1]))"
)


def warm_forecast() -> tuple[float, dict[str, float]]:
    """Best of three after one [s]: field, heat over the session, dose, assumed range; and its stages [s]."""
    case = read_case(EXAMPLE)
    forecast(case)
    best: tuple[float, dict[str, float]] = (float("inf"), {})
    for _ in range(3):
        start = time.perf_counter()
        result = forecast(case)
        taken = time.perf_counter() - start
        best = min(best, (taken, dict(result.seconds)), key=lambda one: one[0])
    return best


def process_forecast(cache: str | None = None) -> float:
    """Wall time of a new process that forecasts once [s]; compiled code from `cache`, or where it belongs."""
    environment = dict(os.environ, **({} if cache is None else {"NUMBA_CACHE_DIR": cache}))
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", _ONCE, str(EXAMPLE)], check=True, env=environment)
    return time.perf_counter() - start


def first_forecast() -> float:
    """The same where nothing is compiled yet [s]."""
    with tempfile.TemporaryDirectory() as empty:
        return process_forecast(empty)
