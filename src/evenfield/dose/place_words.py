"""A place on the body in plain words, as in "upper edge of the inner panel, skin"."""

from __future__ import annotations

import math
from dataclasses import dataclass

_LIMB = ("front", "inner", "back", "outer")
_TRUNK = ("front", "left", "back", "right")


@dataclass(frozen=True)
class UnderPanel:
    """Where a place lies under a panel.

    `panel` is the panel's name and `angle_rad` the angle of its centre; `across` = u/(width/2) towards
    increasing angle and `along` = v/(length/2) towards increasing level, each from −1 to 1.
    """

    panel: str
    angle_rad: float
    across: float
    along: float


def place_words(
    tissue: str, *, angle_rad: float, level_m: float, under: UnderPanel | None = None, trunk: bool = False
) -> str:
    """The place at `angle_rad` (front 0, towards inner/left) and `level_m` (up positive), in words.

    Under a panel the place is told by the panel: its middle (nearest third from centre to edge), a half, an
    edge (farthest third), a corner; elsewhere by the side of the body and the level. `trunk` says left and
    right for inner and outer; `tissue` is said last. Raises ValueError (one clear sentence) if `across` or
    `along` leaves −1 to 1.
    """
    sides = _TRUNK if trunk else _LIMB
    if under is None:
        return f"away from the panels, {_side(angle_rad, sides)} side, {_level(level_m)}, {tissue}"
    for key, share in (("across", under.across), ("along", under.along)):
        if not -1.0 <= share <= 1.0:
            raise ValueError(f"{key} is {share:g}; allowed: -1 to 1, or no panel if the place lies outside")
    panel = under.panel if "panel" in under.panel.lower() else f"{under.panel} panel"
    return f"{_part(under, sides).format(panel=f'the {panel}')}, {tissue}"


def _part(under: UnderPanel, sides: tuple[str, ...]) -> str:
    """The part of the panel, with {panel} where its name goes."""
    upright = "upper" if under.along > 0.0 else "lower"
    sideways = _edge_side(under.angle_rad, 1 if under.across > 0.0 else -1, sides)
    match _third(under.along), _third(under.across):
        case "middle", "middle":
            return "middle of {panel}"
        case "edge", "edge":
            return f"{upright} {sideways} corner of {{panel}}"
        case "half", "half":
            return f"{upright} {sideways} part of {{panel}}"
        case part, "middle":
            return f"{upright} {part} of {{panel}}"
        case "middle", part:
            return f"{sideways} {part} of {{panel}}"
        case "edge", _:
            return f"{upright} edge of {{panel}}, {sideways} half"
        case _:
            return f"{sideways} edge of {{panel}}, {upright} half"


def _third(share: float) -> str:
    return "middle" if abs(share) <= 1 / 3 else "half" if abs(share) <= 2 / 3 else "edge"


def _edge_side(panel_angle_rad: float, towards: int, sides: tuple[str, ...]) -> str:
    """Which side of the body the panel's edge faces, `towards` +1 for increasing angle and −1 for decreasing.

    A panel that sits squarely on one side (within 22.5°) faces the two neighbouring sides; one that sits
    between two sides faces these.
    """
    quarter, nearest, square = _quarters(panel_angle_rad)
    if square:
        return sides[(nearest + towards) % 4]
    return sides[math.floor(quarter + (1 if towards > 0 else 0)) % 4]


def _side(angle_rad: float, sides: tuple[str, ...]) -> str:
    quarter, nearest, square = _quarters(angle_rad)
    if square:
        return sides[nearest % 4]
    between = sorted((math.floor(quarter) % 4, (math.floor(quarter) + 1) % 4), key=lambda side: side % 2)
    return " ".join(sides[side] for side in between)


def _quarters(angle_rad: float) -> tuple[float, int, bool]:
    """The angle in quarter turns, the nearest whole one, and whether it lies within 22.5° of it."""
    quarter = angle_rad / (math.pi / 2)
    nearest = round(quarter)
    return quarter, nearest, abs(quarter - nearest) <= 0.25 + 1e-9


def _level(level_m: float) -> str:
    millimetres = round(level_m * 1e3)
    if millimetres == 0:
        return "at level 0"
    return f"{abs(millimetres)} mm {'above' if millimetres > 0 else 'below'} level 0"
