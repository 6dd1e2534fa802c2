"""Write admittances.csv beside this file: panel admittances of the shipped examples by the real solver.

    python -m tests.field.compute_admittances

Grid: every second line of the one a forecast starts from (about 20,000-30,000 unknowns). On the full grid
the susceptance comes out 2.5-3.6 % lower and the series resistance 2.7-4.5 % higher (the three placements
at 10 mm).
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

from evenfield.applicator import place
from evenfield.body import Region
from evenfield.case import Case, read_case
from evenfield.field import solve_field
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import setting_of
from evenfield.grid.fit import fit

ROOT = Path(__file__).parents[2]
TABLE = Path(__file__).with_name("admittances.csv")
EXAMPLES = ("upper_arm", "thigh", "abdomen")
# gaps of the two panels in mm, and the fat against what the example says
PLACEMENTS = (
    (8, 8, 1.0),
    (10, 10, 1.0),
    (12, 12, 1.0),
    (15, 15, 1.0),
    (20, 20, 1.0),
    (30, 30, 1.0),
    (20, 10, 1.0),
    (10, 20, 1.0),
    (30, 10, 1.0),
    (10, 30, 1.0),
    (40, 10, 1.0),
    (10, 40, 1.0),
    (10, 10, 0.7),
    (10, 10, 1.3),
)


def example(name: str) -> Case:
    """The shipped example of that name."""
    return read_case(ROOT / "examples" / f"{name}.toml")


def admittance(case: Case, gaps_mm: tuple[float, float], fat: float) -> complex:
    """Admittance in S between the example's two panels at these gaps, parallel, with its fat times `fat`."""
    thickness = tuple(
        (front * fat, inner * fat, back * fat, outer * fat)
        for front, inner, back, outer in case.measurements.fat_m
    )
    region = Region(replace(case.measurements, fat_m=thickness))
    placed = [
        place(replace(panel, gap_m=gap / 1000, tilt_along_rad=0.0, tilt_across_rad=0.0), region)
        for panel, gap in zip(case.panels, gaps_mm, strict=True)
    ]
    layout = chosen_layout(region, placed).coarser()
    drives = [panel.drive for panel in case.panels]
    field = solve_field(fit(layout, region, placed), setting_of(case).materials, drives, residual=1e-6)
    return field.admittance_s


def main() -> None:
    """Compute and write the table."""
    with TABLE.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["example", "first_gap_mm", "second_gap_mm", "fat", "conductance_s", "susceptance_s"])
        for name in EXAMPLES:
            case = example(name)
            for first, second, fat in PLACEMENTS:
                y = admittance(case, (first, second), fat)
                writer.writerow([name, first, second, fat, f"{y.real:.5e}", f"{y.imag:.5e}"])
                file.flush()


if __name__ == "__main__":
    main()
