"""A place on the body in plain words, as in "upper edge of the inner panel, skin"."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenfield.applicator.words import edge_sides, quarters, sides, the_panel


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
    if under is None:
        return f"away from the panels, {_side(angle_rad, trunk)} side, {_level(level_m)}, {tissue}"
    for key, share in (("across", under.across), ("along", under.along)):
        if not -1.0 <= share <= 1.0:
            raise ValueError(f"{key} is {share:g}; allowed: -1 to 1, or no panel if the place lies outside")
    return f"{_part(under, trunk).format(panel=the_panel(under.panel))}, {tissue}"


def _part(under: UnderPanel, trunk: bool) -> str:
    """The part of the panel, with {panel} where its name goes."""
    upright = "upper" if under.along > 0.0 else "lower"
    sideways = edge_sides(under.angle_rad, trunk)[under.across > 0.0]
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


def _side(angle_rad: float, trunk: bool) -> str:
    names = sides(trunk)
    quarter, nearest, square = quarters(angle_rad)
    if square:
        return names[nearest % 4]
    between = sorted((math.floor(quarter) % 4, (math.floor(quarter) + 1) % 4), key=lambda side: side % 2)
    return " ".join(names[side] for side in between)


def _level(level_m: float) -> str:
    millimetres = round(level_m * 1e3)
    if millimetres == 0:
        return "at level 0"
    return f"{abs(millimetres)} mm {'above' if millimetres > 0 else 'below'} level 0"
