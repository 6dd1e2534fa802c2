"""An ensemble's results as rows of a table: words, and what 5, 50 and 95 % of the members show."""

from __future__ import annotations

import numpy as np

from evenfield.tolerance.ensemble import Ensemble, quantiles

ROWS = (
    ("hottest_skin_c", "hottest skin", "°C", 1),
    ("hottest_fat_c", "hottest fat", "°C", 1),
    ("mean_fat_at_end_c", "mean of fat at the end of power", "°C", 1),
    ("fat_zones_apart_at_end_k", "warmest less coolest fat zone at the end", "K", 1),
    ("minutes_to_band", "until the mean of fat is in the band", "min", 0),
    ("minutes_in_band", "mean of fat in the band for", "min", 0),
    ("evenness", "evenness of the field in fat", "", 2),
    ("tuning_percent", "tuning to expect, generic circuit", "%", 0),
)
"""Name of the result, its words, its unit on the screen, and digits after the point."""


def result_rows(e: Ensemble) -> list[tuple[str, list[str]]]:
    """Words of each result with its 5, 50 and 95 %, unit included; "not reached" where it never comes."""
    results = e.results()
    return [
        (words, [_told(float(value), unit, digits) for value in quantiles(results[name])])
        for name, words, unit, digits in ROWS
    ]


def _told(value: float, unit: str, digits: int) -> str:
    return f"{value:.{digits}f} {unit}".strip() if np.isfinite(value) else "not reached"
