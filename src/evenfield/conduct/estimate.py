"""The live estimate as rules see it: a value, with no physics behind it here.

Whoever follows the heat fills it; conduct only compares it with the practice profile.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Likely:
    """An estimated number with the ends of its 90 % interval, ``low <= value <= high``."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class ZoneEstimate:
    """One zone: mean and hottest of its skin and fat, °C; whether its readings disagree with the model."""

    zone: str
    skin_mean_c: Likely
    skin_hottest_c: Likely
    fat_mean_c: Likely
    fat_hottest_c: Likely
    disagrees: bool = False


@dataclass(frozen=True)
class Estimate:
    """The estimate at ``at_s`` (seconds from the visit's origin).

    ``pause_left_s`` is how long from ``at_s`` the field may stay off before mean fat falls below the band;
    None if fat is not in the band or it is not known.
    """

    at_s: float
    zones: tuple[ZoneEstimate, ...] = ()
    pause_left_s: Likely | None = None
