"""The usual errors of placing, one at a time, as changed cases."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import radians

from evenfield.case import Case

GAP_MM = (-5, -2, 2, 5)
TILT_DEG = (-8, -5, -2, 2, 5, 8)
SHIFT_MM = (-20, 20)
FAT_MM = (-2, 2)
SHAPE = 0.10
"""Relative change of width over depth that stands for a region bolstered otherwise than planned (label A)."""


@dataclass(frozen=True)
class Variation:
    """One error: its group ("gap", "tilt across", ...), the panel (empty for the body), its size (mm, °, or %
    of width over depth), the same in words and in short, and the case it makes."""

    group: str
    panel: str
    size: int
    words: str
    short: str
    case: Case


def variations(case: Case) -> Iterator[Variation]:
    """Each panel's gap, two tilts and shifts; body shape; fat thickness."""
    for panel in case.panels:
        name = panel.name
        for mm in GAP_MM:
            changed = case.with_panel(name, gap_m=panel.gap_m + mm * 1e-3)
            yield Variation("gap", name, mm, f"gap {mm:+d} mm", f"{mm:+d} mm", changed)
        for group, key in (("tilt across", "tilt_across_rad"), ("tilt along", "tilt_along_rad")):
            for deg in TILT_DEG:
                changed = case.with_panel(name, **{key: getattr(panel, key) + radians(deg)})
                yield Variation(group, name, deg, f"{group} {deg:+d}°", f"{deg:+d}°", changed)
        for mm in SHIFT_MM:
            changed = case.with_panel(name, level_m=panel.level_m + mm * 1e-3)
            yield Variation("shift along", name, mm, f"{mm:+d} mm along", f"{mm:+d} mm", changed)
        radius = float(case.region.skin_radius(panel.angle_rad, panel.level_m))
        for mm in SHIFT_MM:
            changed = case.with_panel(name, angle_rad=panel.angle_rad + mm * 1e-3 / radius)
            yield Variation("shift around", name, mm, f"{mm:+d} mm around", f"{mm:+d} mm", changed)
    m = case.measurements
    for sign in (-1, 1):
        shape = replace(m, width_to_depth=m.width_to_depth * (1 + sign * SHAPE))
        words = "flatter" if sign > 0 else "rounder"
        changed = replace(case, measurements=shape)
        yield Variation("bolstering", "", round(100 * sign * SHAPE), f"lies {words}", words, changed)
    for mm in FAT_MM:
        rows = tuple(tuple(max(1e-3, f + mm * 1e-3) for f in row) for row in m.fat_m)
        changed = replace(case, measurements=replace(m, fat_m=rows))  # type: ignore[arg-type]
        yield Variation("fat thickness", "", mm, f"fat {mm:+d} mm", f"{mm:+d} mm", changed)
