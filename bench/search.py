"""The search: seconds, placements tried, and what it gains. `python -m bench.search [EXAMPLE ...]`."""

from __future__ import annotations

import os
import sys
import time
from dataclasses import dataclass

from bench.ensemble import long_visit
from evenfield.tolerance.advice_words import told
from evenfield.tolerance.advised import PlacementAdvice, Wish
from evenfield.tolerance.ensemble import ensemble
from evenfield.tolerance.parallel import runner
from evenfield.tolerance.search import DESIGN, MEMBERS, search


@dataclass(frozen=True)
class SearchRow:
    """`seconds` with compiled code warm."""

    example: str
    seconds: float
    advice: PlacementAdvice

    def __str__(self) -> str:
        lines = [
            f"search, {self.example}: {self.seconds:.1f} s, {self.advice.tried} placements, {MEMBERS} "
            f"members each, {DESIGN} fields, {len(self.advice.spread.unknowns)} unknowns"
        ]
        lines += [
            f"    {o.words}: {told(o)}; hold {o.hold_w:.0f} W, {o.minutes:.0f} min: chance "
            f"{100 * o.chance:.1f} %, in band {o.minutes_in_band[1]:.1f} min"
            for o in self.advice.options
        ]
        return "\n".join(lines)


def row(example: str = "upper_arm", workers: int = 2) -> SearchRow:
    """One example, skin limit 40.5 °C at 5 %."""
    case = long_visit(example)
    with runner(workers) as work:
        ensemble(case, work, members=64, design=8, training=2, checks=2)
        clock = time.perf_counter()
        advice = search(case, Wish(skin_limit_c=40.5), work)
    return SearchRow(example, time.perf_counter() - clock, advice)


if __name__ == "__main__":
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} at the start", flush=True)
    for name in sys.argv[1:] or ["upper_arm"]:
        print(row(name), flush=True)
