"""Moves of a plan's panels in whole millimetres and degrees: which there are, which may be, what they do."""

from __future__ import annotations

from collections.abc import Iterator
from math import radians

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator import PlacementError, check_placement
from evenfield.case import Case
from evenfield.tolerance.advised import Moves, Wish
from evenfield.tolerance.emulator import Emulator
from evenfield.tolerance.member import changed_case

Floats = NDArray[np.float64]


def moves_key(moves: Moves) -> tuple[tuple[tuple[str, str], int], ...]:
    return tuple(sorted((k, v) for k, v in moves.items() if v))


def steps_from(now: Moves, case: Case, wish: Wish) -> Iterator[Moves]:
    for panel in case.panels:
        for way, most in (
            ("gap", wish.gap_mm),
            ("tilt_across", wish.tilt_deg),
            ("tilt_along", wish.tilt_deg),
        ):
            for step in (-1, 1):
                value = now.get((panel.name, way), 0) + step
                if abs(value) <= most:
                    yield {**now, (panel.name, way): value}


def together(now: Moves, good: list[Moves]) -> Moves:
    """All helpful steps at once, the better of two opposite ones."""
    out = dict(now)
    taken: set[tuple[str, str]] = set()
    for one in good:
        for key, value in one.items():
            if value != now.get(key, 0) and key not in taken:
                out[key] = value
                taken.add(key)
    return out


def moved_case(case: Case, moves: Moves) -> Case:
    """The case with the plan's placement moved."""
    values = {
        f"{way}.{panel}": 1e-3 * amount if way == "gap" else radians(amount)
        for (panel, way), amount in moves.items()
    }
    return changed_case(case, values)


def may_be_placed(case: Case, moves: Moves, wish: Wish) -> bool:
    moved = moved_case(case, moves)
    if any(
        moves.get((p.name, "gap"), 0) < 0 and 1e3 * p.gap_m < wish.least_gap_mm - 1e-9 for p in moved.panels
    ):
        return False
    try:
        check_placement(moved.region, moved.placed)
    except PlacementError:
        return False
    return True


def shifted(emulator: Emulator, scores: Floats, moves: Moves) -> Floats:
    out = scores.copy()
    for (panel, way), amount in moves.items():
        n = emulator.spread.column(f"{way}.{panel}")
        size = 1e-3 * amount if way == "gap" else radians(amount)
        out[:, n] += size / emulator.spread.unknowns[n].width[0]
    return out
