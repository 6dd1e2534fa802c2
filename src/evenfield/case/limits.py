"""Allowed ranges of the case file's numbers, and a guess at the unit where one lies outside.

All in the file's units. The ranges are assumptions (label A) chosen wide enough for real sessions and narrow
enough to catch a wrong unit; those of the body come from `evenfield.body.plausible`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from evenfield.body import PLAUSIBLE, RegionKind, Span
from evenfield.body.plausible import SKIN_M, WALL_M, WIDTH_TO_DEPTH
from evenfield.case.model import CaseError

Guess = tuple[str, Callable[[float], float]]

_LENGTH: tuple[Guess, ...] = (
    ("centimetres", lambda v: 10 * v),
    ("inches", lambda v: 25.4 * v),
    ("metres", lambda v: 1000 * v),
)
_CELSIUS: tuple[Guess, ...] = (("degrees Fahrenheit", lambda v: (v - 32) / 1.8),)
_SHARE: tuple[Guess, ...] = (("percent", lambda v: v / 100),)
_MINUTES: tuple[Guess, ...] = (("seconds", lambda v: v / 60),)
_SPEED: tuple[Guess, ...] = (("centimetres per second", lambda v: v / 100),)


@dataclass(frozen=True)
class Limit:
    """What is measured, in which unit, and between which values it must lie; `guesses` are other units."""

    what: str
    low: float
    high: float
    guesses: tuple[Guess, ...] = ()

    def check(self, key: str, value: float) -> None:
        """Raise CaseError if `value` lies outside: key, value, a likely other unit, and what is allowed."""
        if self.low <= value <= self.high:
            return
        units = [unit for unit, convert in self.guesses if self.low <= convert(value) <= self.high]
        looks = f"looks like {' or '.join(units)}; " if units else ""
        allowed = f"from {self.low:g} to {self.high:g}"
        raise CaseError(
            f"{key} = {value:g}: {looks}{self.what} is allowed {allowed}",
            key=key,
            value=value,
            allowed=allowed,
        )


LIMITS: Mapping[str, Limit] = MappingProxyType(
    {
        "region.levels_mm": Limit("a level in mm", -600, 600),
        "region.width_to_depth": Limit("width over depth", WIDTH_TO_DEPTH.low, WIDTH_TO_DEPTH.high),
        "region.skin_mm": Limit("skin thickness in mm", 1e3 * SKIN_M.low, 1e3 * SKIN_M.high, _LENGTH),
        "region.wall_mm": Limit("the muscle wall in mm", 1e3 * WALL_M.low, 1e3 * WALL_M.high, _LENGTH),
        "room.air_c": Limit("air temperature in °C", 10, 40, _CELSIUS),
        "room.air_speed_m_s": Limit("air speed in m/s", 0, 5, _SPEED),
        "room.humidity": Limit("relative humidity as a share", 0, 1, _SHARE),
        "room.wettedness": Limit("the wet share of the skin", 0, 1, _SHARE),
        "room.drape_clo": Limit("the drape in clo", 0, 4),
        "panel.angle_deg": Limit("a panel's angle in degrees", -360, 360),
        "panel.level_mm": Limit("a panel's level in mm", -600, 600),
        "panel.width_mm": Limit("a panel's width in mm", 20, 900, _LENGTH),
        "panel.length_mm": Limit("a panel's length in mm", 20, 600, _LENGTH),
        "panel.gap_mm": Limit("the gap from skin to panel in mm", 2, 80, _LENGTH),
        "panel.tilt_across_deg": Limit("a tilt in degrees", -20, 20),
        "panel.tilt_along_deg": Limit("a tilt in degrees", -20, 20),
        "panel.drive": Limit("a drive", -10, 10),
        "session.power_w": Limit("set power in W", 0, 1000),
        "session.absorbed_w": Limit("absorbed power in W", 0, 500),
        "session.minutes": Limit("the time with power in minutes", 0.5, 180, _MINUTES),
        "session.after_minutes": Limit("the time to follow after power in minutes", 0, 240, _MINUTES),
        "session.absorbed_fraction": Limit("the absorbed share of set power", 0.01, 1, _SHARE),
        "session.band_c": Limit("the wanted band in °C", 35, 46, _CELSIUS),
        "session.baseline_c": Limit("core temperature in °C", 34, 40, _CELSIUS),
    }
)
"""By key. Girth, fat and bone depend on the kind of region: see `girth_limit`, `fat_limit`, `bone_limit`."""

LEVEL_SPAN = Limit("the span of the levels in mm", 30, 1000, _LENGTH)
"""First to last level, where there are several."""


def girth_limit(kind: RegionKind) -> Limit:
    """Allowed girth."""
    facts = PLAUSIBLE[kind]
    return _millimetres(f"girth of {facts.words} in mm", facts.girth_m)


def fat_limit(kind: RegionKind) -> Limit:
    """Allowed fat thickness."""
    facts = PLAUSIBLE[kind]
    return _millimetres(f"fat thickness of {facts.words} in mm", facts.fat_m)


def bone_limit(kind: RegionKind) -> Limit:
    """Allowed radius of the bone."""
    facts = PLAUSIBLE[kind]
    return _millimetres(f"bone radius of {facts.words} in mm", facts.bone_radius_m)


def _millimetres(what: str, span: Span) -> Limit:
    return Limit(what, round(1e3 * span.low, 6), round(1e3 * span.high, 6), _LENGTH)
