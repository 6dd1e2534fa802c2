"""What a search for a placement is asked, and what it answers: wish, courses of power, options."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

import numpy as np
from numpy.typing import NDArray

from evenfield.case import Case
from evenfield.heat.power import PowerCurve
from evenfield.tolerance.check import EmulatorError
from evenfield.tolerance.spread import Spread

Floats = NDArray[np.float64]

RAISE_EVERY_S = 300.0
"""Time between steps of the power; practice waits 4 to 5 minutes before any increase (common practice, no
source)."""

Moves = dict[tuple[str, str], int]
"""Steps of 1 mm or 1° by panel and way (gap, tilt_across, tilt_along)."""


@dataclass(frozen=True)
class PowerCourse:
    """A shape of the power in time: `start` and the hold as 1, in `steps` equal steps every 5 minutes."""

    start: float
    steps: int
    words: str

    def factors(self, time_s: Floats) -> Floats:
        """Share of the hold's power at times (n,)."""
        done = np.minimum(np.floor(time_s / RAISE_EVERY_S + 1e-9) / max(self.steps, 1), 1.0)
        return np.asarray(self.start + (1.0 - self.start) * done)

    def curve(self, hold_w: float, minutes: float) -> PowerCurve:
        """The power in time that hands set: whole watts, rounded down but not to none."""
        times = RAISE_EVERY_S * np.arange(self.steps + 1, dtype=np.float64)
        watts = [float(max(1, floor(w + 1e-9))) for w in hold_w * self.factors(times)]
        steps = [
            (float(t), w)
            for n, (t, w) in enumerate(zip(times, watts, strict=True))
            if t < 60.0 * minutes and (n == 0 or w != watts[n - 1])
        ]
        return PowerCurve(tuple(t for t, _ in steps), tuple(w for _, w in steps), 60.0 * minutes)


COURSES = (
    PowerCourse(0.6, 2, "start at 60 %, two steps up"),
    PowerCourse(0.8, 1, "start at 80 %, one step up"),
    PowerCourse(1.0, 0, "one power throughout"),
    PowerCourse(1.25, 1, "start at 125 %, one step down"),
)


@dataclass(frozen=True)
class Wish:
    """What is asked. `chance`: greatest share of members whose skin may pass `skin_limit_c` at any time.
    `gap_mm`, `tilt_deg`: how far the placement may leave the plan, in whole steps of 1; `least_gap_mm`; the
    visit's longest `minutes` (the plan's if None)."""

    skin_limit_c: float
    chance: float = 0.05
    gap_mm: int = 4
    tilt_deg: int = 3
    least_gap_mm: float = 6.0
    minutes: float | None = None


@dataclass(frozen=True)
class Option:
    """One way to give the visit, judged on members that the search has not seen.

    `kind`: which question it answers (plan, best, stay, tighter, looser, shorter).
    `moves`: change of the plan's placement by panel and way (gap, tilt_across, tilt_along) in mm and
    degrees.
    `curve`: power of the case's kind, whole watts where it was searched for; `chance`: share of members with
    skin above the limit; `score`: mean over members and fat zones of the minutes in the band; 5, 50, 95 %
    (3,) of `minutes_in_band` (mean over fat zones), `apart_k` (warmest less coolest fat zone at the end of
    power), `skin_c`, `fat_c` (hottest), `mean_fat_c` at the end.
    """

    kind: str
    words: str
    case: Case
    moves: dict[tuple[str, str], int]
    course: str
    curve: PowerCurve
    chance: float
    score: float
    minutes_in_band: Floats
    apart_k: Floats
    skin_c: Floats
    fat_c: Floats
    mean_fat_c: Floats

    @property
    def hold_w(self) -> float:
        """Its last power."""
        return self.curve.watts[-1]

    @property
    def minutes(self) -> float:
        """How long power is given, pauses included."""
        return self.curve.end_s / 60.0


@dataclass(frozen=True)
class PlacementAdvice:
    """`options`: the plan as it is, then what the search found; `error` of the emulator at the first option
    found; `tried`: placements tried."""

    wish: Wish
    spread: Spread
    options: tuple[Option, ...]
    error: EmulatorError | None
    tried: int
    caution: str = (
        "Advice from a computed estimate, to be checked against the device's manual, local rules and the "
        "supervising licensed clinician. It drives nothing."
    )
