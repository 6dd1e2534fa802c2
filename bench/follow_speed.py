"""Speed of the live estimate: building a plan's model, one tick, one reading, one look, a rebuild.

`python -m bench.follow_speed [EXAMPLE ...]` prints CPU time (best of several), so that a busy machine does
not matter; the limit is 20 ms for an update, that is up to a minute's advance with a reading taken in.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from evenfield.case import read_case
from evenfield.follow import (
    FieldOn,
    Following,
    Input,
    PowerNow,
    SkinRead,
    begin,
    follow,
    look,
    prepare,
    settled,
    take,
)

EXAMPLES = Path(__file__).parents[1] / "examples"


def best_ms(work: Callable[[], object], times: int = 9) -> float:
    """CPU time of the quickest run, ms."""
    seconds = []
    for _ in range(times):
        clock = time.thread_time()
        work()
        seconds.append(time.thread_time() - clock)
    return 1e3 * min(seconds)


def row(name: str) -> str:
    """Measure one example."""
    case = read_case(EXAMPLES / f"{name}.toml")
    prepare(case)  # compiles what is not compiled yet
    clock = time.process_time()
    model = prepare(case)
    build_s = time.process_time() - clock
    read = [
        SkinRead(at, zone.label, 34.5 + at / 900.0)
        for at in np.arange(0.0, 2701.0, 300.0)
        for zone in model.zones
    ]
    entries: list[Input] = [PowerNow(0.0, 40.0), FieldOn(0.0), *read]

    def rebuilt() -> Following:
        return follow(model, entries, 2700.0, np.random.default_rng(0))

    late = rebuilt()
    reading = SkinRead(2755.0, model.zones[0].label, 38.0)
    return (
        f"follow, {name}: {model.heat.rates.size} shapes, {late.members} members, built in {build_s:.1f} s; "
        f"at minute 45: a minute's tick {best_ms(lambda: settled(model, late, 2760.0)):.1f} ms, "
        f"55 s and a reading {best_ms(lambda: take(model, late, reading)):.1f} ms, "
        f"all that is shown, with curves ahead {best_ms(lambda: look(model, late, 2730.0)):.1f} ms; "
        f"begin {best_ms(lambda: begin(model, np.random.default_rng(0)), 3):.0f} ms, "
        f"rebuilt from {len(entries)} entries in {best_ms(rebuilt, 3):.0f} ms"
    )


def main() -> None:
    """Measure and print."""
    for name in sys.argv[1:] or ["upper_arm", "thigh", "abdomen"]:
        print(row(name), flush=True)


if __name__ == "__main__":
    main()
