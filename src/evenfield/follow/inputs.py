"""What the live estimate is told: plain values with their time in seconds since the visit's origin.

Whoever keeps the visit's record translates its entries to these; corrected entries are left out there. An
entry that tells nothing about heat (a note, a look at the skin) has no counterpart. A missing report has none
either: nobody saying "warm" or "hot" proves nothing (docs/follow.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Literal, get_args

Part = Literal["whole", "rising_angle", "falling_angle", "rising_level", "falling_level"]
"""Which side of a panel; the rising sides are those of increasing angle and of increasing level."""
PARTS: tuple[str, ...] = get_args(Part)


class FollowError(ValueError):
    """An input that cannot be used: one sentence with what it was and what is allowed."""


def _within(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not (isfinite(value) and low <= value <= high):
        raise FollowError(f"{name} = {value:g} {unit}; allowed: {low:g} to {high:g} {unit}")


@dataclass(frozen=True)
class FieldOn:
    """The field is on, at the power last set."""

    at_s: float


@dataclass(frozen=True)
class FieldOff:
    """The field is off: paused or stopped."""

    at_s: float


@dataclass(frozen=True)
class PowerNow:
    """Set power as the device shows it, W. It heats only while the field is on."""

    at_s: float
    watts: float

    def __post_init__(self) -> None:
        _within("power", self.watts, 0.0, 2000.0, "W")


@dataclass(frozen=True)
class TuningNow:
    """Tuning as the device shows it, %."""

    at_s: float
    percent: float

    def __post_init__(self) -> None:
        _within("tuning", self.percent, 0.0, 100.0, "%")


@dataclass(frozen=True)
class PanelShift:
    """A panel, or one side of it, moved by `by_m`: away from the skin if positive."""

    at_s: float
    panel: str
    by_m: float
    part: Part = "whole"

    def __post_init__(self) -> None:
        _within("move", self.by_m, -0.2, 0.2, "m")
        if self.part not in PARTS:
            raise FollowError(f'part of the panel = "{self.part}"; allowed: {", ".join(PARTS)}')


@dataclass(frozen=True)
class SkinRead:
    """A skin temperature read at one spot of a zone; `error_k`: the thermometer's own standard error."""

    at_s: float
    zone: str
    celsius: float
    error_k: float = 0.3

    def __post_init__(self) -> None:
        _within("skin reading", self.celsius, 10.0, 60.0, "°C")
        _within("error of the skin reading", self.error_k, 0.01, 10.0, "K")


@dataclass(frozen=True)
class ComfortSaid:
    """Comfort from 0 (cannot be borne) to 10 (fully comfortable)."""

    at_s: float
    score: float

    def __post_init__(self) -> None:
        _within("comfort", self.score, 0.0, 10.0, "")


@dataclass(frozen=True)
class HotSpotSaid:
    """A place felt hotter than its surroundings: in a zone, under a panel, or (both empty) anywhere."""

    at_s: float
    zone: str | None = None
    panel: str | None = None


Input = FieldOn | FieldOff | PowerNow | TuningNow | PanelShift | SkinRead | ComfortSaid | HotSpotSaid
