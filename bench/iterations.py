"""`python -m bench.iterations`: how many iterations the field takes on cases drawn at random."""

from __future__ import annotations

import argparse
from collections import Counter

from evenfield.field import solve_field
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import setting_of
from evenfield.grid.fit import fit
from tests.forecast.strange import strange_cases

MOST = 12


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m bench.iterations", description=__doc__)
    parser.add_argument("--count", type=int, default=50, help="cases of each seed (50)")
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2])
    chosen = parser.parse_args()
    found: Counter[int] = Counter()
    for seed in chosen.seeds:
        for case in strange_cases(chosen.count, seed)[0]:
            grid = fit(chosen_layout(case.region, case.placed), case.region, case.placed)
            drives = [panel.drive for panel in case.panels]
            field = solve_field(grid, setting_of(case).materials, drives, residual=1e-8)
            found[field.numerics.iterations] += 1
    for iterations, cases in sorted(found.items()):
        print(f"{iterations:3d} iterations: {cases} cases")
    within = sum(cases for iterations, cases in found.items() if iterations <= MOST)
    print(f"{within} of {found.total()} within {MOST}, from nothing to a residual of 1e-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
