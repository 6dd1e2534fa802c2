"""The answer to a what-if: what changes against the base, in words and numbers, and how exact it is."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.tolerance.outcome import PlacementOutcome
from evenfield.tolerance.table import difference
from evenfield.tolerance.words import kelvin, until_band, within

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ErrorBound:
    """How far a preview may be from the full answer: hottest skin and fat at the end (K), evenness, tuning
    (percentage points)."""

    skin_k: float
    fat_k: float
    evenness: float
    tuning: float


@dataclass(frozen=True)
class PreviewError:
    """Bounds from placements computed both ways when a preview was built. Temperatures: as a share of the
    rise; all: at the distance `near` from the base and beyond, growing in proportion with it.

    `largest` (4,): the largest error found, skin and fat in K, evenness, tuning; `placements`: how many.
    """

    skin: float
    fat: float
    evenness: float
    tuning: float
    largest: tuple[float, float, float, float]
    placements: int

    def at(self, point: Floats, outcome: PlacementOutcome) -> ErrorBound:
        """The bound for an outcome at a point of scaled parameters."""
        size = distance(point)
        return ErrorBound(
            skin_k=size * self.skin * rise(outcome.skin_c),
            fat_k=size * self.fat * rise(outcome.fat_c),
            evenness=size * self.evenness,
            tuning=size * self.tuning,
        )


NEAR = 0.5


def distance(point: Floats) -> float:
    """How far a point of scaled parameters is from the base, never less than `NEAR`; 1 is one parameter at
    the end of its range."""
    return float(np.hypot(NEAR, np.linalg.norm(point)))


def rise(series_c: Floats) -> float:
    """Rise of the hottest point from start to end, K."""
    return float(series_c[-1] - series_c[0])


def _points(bound: float) -> str:
    words = within(bound, 0)
    return f"{words} point{'' if words == '± 1' else 's'}"


@dataclass(frozen=True)
class WhatIfAnswer:
    """`asked`: the change in words; `outcome` and `base`: with and without it; `bound`: a preview's, None for
    a full answer."""

    asked: str
    outcome: PlacementOutcome
    base: PlacementOutcome
    bound: ErrorBound | None

    @property
    def words(self) -> str:
        """The change against the base in one sentence."""
        new, old, bound = self.outcome, self.base, self.bound
        d = difference(new, old, (np.inf,))
        skin, fat, even, tuned = "", "", "", ""
        if bound is not None:
            skin, fat = (f" ({within(k, 1)} K)" for k in (bound.skin_k, bound.fat_k))
            even, tuned = f" ({within(bound.evenness, 2)})", f" ({_points(bound.tuning)})"
        ends = new.minute[-1], old.minute[-1]
        after = f"after {ends[0]:g} min"
        if ends[0] != ends[1]:
            after += f" (base after {ends[1]:g} min)"
        band = f"{until_band(old.minutes_to_band)} to {until_band(new.minutes_to_band)}"
        parts = [
            f"hottest skin {kelvin(d.skin_k[0])}{skin} {after}, at the {new.where}",
            f"hottest fat {kelvin(d.fat_k[0])}{fat}",
            f"evenness {old.evenness:.2f} to {new.evenness:.2f}{even}",
            f"tuning {old.tuning_percent:.0f} % to {new.tuning_percent:.0f} %{tuned} by the generic circuit",
            f"mean of fat in the band: {band}",
        ]
        return f"{self.asked[:1].upper()}{self.asked[1:]}: {'; '.join(parts)}."

    def to_json(self) -> dict[str, Any]:
        """Plain data; `kind` is preview or full."""
        d = difference(self.outcome, self.base, (np.inf,))
        return {
            "kind": "full" if self.bound is None else "preview",
            "asked": self.asked,
            "words": self.words,
            "outcome": self.outcome.to_json(),
            "base": self.base.to_json(),
            "change": {
                "skin_k": round(d.skin_k[0], 3),
                "fat_k": round(d.fat_k[0], 3),
                "evenness": round(d.evenness, 4),
                "tuning_points": round(d.tuning, 2),
                "minutes_to_band": None if d.minutes != d.minutes else round(d.minutes, 2),
            },
            "error": None if self.bound is None else {k: round(v, 4) for k, v in asdict(self.bound).items()},
        }
