"""`python -m bench.extrapolation`: what extrapolating the heating gains, on the three examples.

Against a solution on a grid of eight times the cells, and against that grid's own extrapolation; and what the
forecast's residual leaves.
"""

from __future__ import annotations

from pathlib import Path

from evenfield.case import read_case
from evenfield.field import solve_field
from evenfield.forecast.accuracy import extrapolated, prolonged, sar_difference, solve_to_target
from evenfield.forecast.engine import setting_of
from evenfield.grid.fit import fit

EXAMPLES = Path(__file__).parents[1] / "examples"
LAYERS = ("skin", "fat", "muscle")


def main() -> None:
    for path in sorted(EXAMPLES.glob("*.toml")):
        case = read_case(path)
        materials, drives = setting_of(case).materials, [panel.drive for panel in case.panels]
        shown, coarse, estimate = solve_to_target(case.region, case.placed, materials)
        plain = solve_field(shown.grid, materials, drives, start=shown.potential)
        finer_grid = fit(shown.grid.layout.finer(), case.region, case.placed)
        finer = solve_field(finer_grid, materials, drives, start=prolonged(plain.potential), residual=1e-7)
        best = extrapolated(plain, finer)
        print(f"{path.stem}: {shown.numerics.unknowns} unknowns, estimate {100 * estimate:.2f} %")
        for kind, field in (("plain", plain), ("extrapolated", shown)):
            from_finer = 100 * sar_difference(field, finer)
            from_best = ", ".join(
                f"{layer} {100 * sar_difference(field, best, layer):.2f} %" for layer in LAYERS
            )
            share = max(abs(field.share[name] - best.share[name]) for name in best.share)
            print(
                f"  {kind:<13} fat SAR {from_finer:.2f} % from the finer grid; from its extrapolation "
                f"{from_best}, shares within {100 * share:.3f} points"
            )
        loose = solve_field(shown.grid, materials, drives, start=prolonged(coarse.potential), residual=1e-6)
        fat = shown.grid.cells_of("fat")
        left = abs(loose.heating - plain.heating)[:, :, fat].max() / plain.heating[:, :, fat].max()
        print(f"  a residual of 1e-6 moves the heating of fat by {left:.0e} of its largest value")


if __name__ == "__main__":
    main()
