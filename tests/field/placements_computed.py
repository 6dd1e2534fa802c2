"""The admittances in admittances.csv (see compute_admittances.py) by example, gaps in mm, factor on fat."""

from __future__ import annotations

import csv
from pathlib import Path

EXAMPLES = ("upper_arm", "thigh", "abdomen")


def _read() -> dict[tuple[str, int, int, float], complex]:
    with Path(__file__).with_name("admittances.csv").open(encoding="utf-8") as file:
        return {
            (r["example"], int(r["first_gap_mm"]), int(r["second_gap_mm"]), float(r["fat"])): complex(
                float(r["conductance_s"]), float(r["susceptance_s"])
            )
            for r in csv.DictReader(file)
        }


COMPUTED = _read()


def computed(example: str, first_mm: int, second_mm: int, fat: float = 1.0) -> complex:
    """Admittance in S of an example's panels at these gaps."""
    return COMPUTED[example, first_mm, second_mm, fat]
