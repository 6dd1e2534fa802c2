"""`python -m bench.domain`: what the ends of the computed domain do to the field, on the three examples.

The air is made twice as deep, the body twice as long beyond panels and levels, the hole round the axis a
quarter as wide; one at a time, on grids of 1.6 times the usual spacing.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from evenfield.case import Case, read_case
from evenfield.field import Field, solve_field
from evenfield.forecast.engine import setting_of
from evenfield.grid import fit as fitting
from evenfield.grid.layout import Spacing, make_layout

EXAMPLES = Path(__file__).parents[1] / "examples"
USUAL = Spacing(scale=1.6)
WIDER = {
    "air twice as deep": Spacing(scale=1.6, air_depth=2 * USUAL.air_depth),
    "body twice as long beyond": Spacing(scale=1.6, end_depth=2 * USUAL.end_depth),
}


@contextmanager
def axis_hole(share: float) -> Iterator[None]:
    """The hole of this share of the radius while the context lasts."""
    before = fitting.AXIS_HOLE
    fitting.AXIS_HOLE = share
    try:
        yield
    finally:
        fitting.AXIS_HOLE = before


def solved(case: Case, spacing: Spacing) -> Field:
    """The field of the case on a grid of this spacing."""
    grid = fitting.fit(make_layout(case.region, case.placed, spacing), case.region, case.placed)
    return solve_field(grid, setting_of(case).materials, [p.drive for p in case.panels], residual=1e-7)


def under_panels(field: Field) -> list[float]:
    """Mean SAR of fat under each panel per watt absorbed, 1/kg."""
    cells = field.grid.cells_of("fat")
    means = []
    for number in range(len(field.grid.layout.panels)):
        k, j = field.grid.panel_cells(number)
        volume = field.grid.volume[k, j, cells]
        means.append(float(np.sum(field.sar[k, j, cells] * volume) / np.sum(volume)))
    return means


def main() -> None:
    print("change of: power at a given voltage, share of power in any tissue, fat SAR under any panel\n")
    for name in ("upper_arm", "thigh", "abdomen"):
        case = read_case(EXAMPLES / f"{name}.toml")
        usual = solved(case, USUAL)
        others = {label: solved(case, spacing) for label, spacing in WIDER.items()}
        with axis_hole(fitting.AXIS_HOLE / 4):
            others["hole a quarter as wide"] = solved(case, USUAL)
        for label, other in others.items():
            power = other.absorbed_w / usual.absorbed_w - 1.0
            share = max(abs(other.share[layer] - usual.share[layer]) for layer in usual.share)
            sar = max(abs(b / a - 1.0) for a, b in zip(under_panels(usual), under_panels(other), strict=True))
            print(
                f"{name:<10} {label:<26} {100 * power:+.2f} %  {100 * share:.2f} points  {100 * sar:.2f} %",
                flush=True,
            )


if __name__ == "__main__":
    main()
