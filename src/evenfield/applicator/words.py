"""Places on a panel in the operator's words: edges, corners and thirds."""

import math

from evenfield.applicator.panel import Panel
from evenfield.body import DIRECTIONS

_ON_TRUNK = ("front", "left", "back", "right")


def sides(trunk: bool) -> tuple[str, ...]:
    """Names of the sides at 0, 90, 180 and 270 degrees; on the trunk left and right for inner and outer."""
    return _ON_TRUNK if trunk else DIRECTIONS


def quarters(angle_rad: float) -> tuple[float, int, bool]:
    """The angle in quarter turns, the nearest whole one, and whether it lies within 22.5° of that."""
    quarter = angle_rad / (math.pi / 2)
    nearest = round(quarter)
    return quarter, nearest, abs(quarter - nearest) <= 0.25 + 1e-9


def panel_words(name: str) -> str:
    """A panel by its name in a sentence: left panel; panel 1."""
    return name if "panel" in name.lower() else f"{name} panel"


def the_panel(name: str) -> str:
    """The same with its article where it takes one: the left panel; panel 1."""
    words = panel_words(name)
    return words if words.lower().startswith("panel") else f"the {words}"


def direction_word(angle_rad: float, trunk: bool) -> str:
    """The nearest of the four sides."""
    return sides(trunk)[quarters(angle_rad)[1] % 4]


def edge_sides(angle_rad: float, trunk: bool) -> tuple[str, str]:
    """The sides that a panel turns its edges of decreasing and of increasing angle to.

    A panel squarely on one side faces the two beside it; one that sits between two sides faces these.
    """
    names = sides(trunk)
    quarter, nearest, square = quarters(angle_rad)
    if square:
        return names[(nearest - 1) % 4], names[(nearest + 1) % 4]
    return names[math.floor(quarter) % 4], names[(math.floor(quarter) + 1) % 4]


def third_name(panel: Panel, trunk: bool, across: int, along: int) -> str:
    """Name of one of the nine thirds: `across` 0..2 with increasing angle, `along` 0..2 with increasing
    level.

    "upper left", "upper middle", "middle left", "centre", "lower outer" ...
    """
    low, high = edge_sides(panel.angle_rad, trunk)
    first, second = ("lower", "middle", "upper")[along], (low, "middle", high)[across]
    return "centre" if (across, along) == (1, 1) else f"{first} {second}"


def spot_name(panel: Panel, trunk: bool, u: float, v: float) -> str:
    """A point (u, v) on or beside the panel: "upper edge", "upper left corner", or "middle".

    An edge is the outer sixth of the panel and whatever lies beyond it.
    """
    low, high = edge_sides(panel.angle_rad, trunk)
    words = []
    if abs(v) > panel.length_m / 3:
        words.append("upper" if v > 0 else "lower")
    if abs(u) > panel.width_m / 3:
        words.append(high if u > 0 else low)
    return " ".join([*words, ("middle", "edge", "corner")[len(words)]])
