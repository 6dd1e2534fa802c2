"""Places on a panel in the operator's words: edges, corners and thirds."""

from math import pi

from evenfield.applicator.panel import Panel
from evenfield.body import DIRECTIONS

_ON_TRUNK = {"inner": "left", "outer": "right"}


def direction_word(angle_rad: float, trunk: bool) -> str:
    """The nearest of front, inner, back, outer; on the trunk left and right stand for inner and outer."""
    word = DIRECTIONS[round(angle_rad / (0.5 * pi)) % 4]
    return _ON_TRUNK.get(word, word) if trunk else word


def side_words(panel: Panel, trunk: bool) -> tuple[str, str]:
    """Names of the panel's two sides: that of decreasing and that of increasing angle."""
    return (
        direction_word(panel.angle_rad - 0.5 * pi, trunk),
        direction_word(panel.angle_rad + 0.5 * pi, trunk),
    )


def third_name(panel: Panel, trunk: bool, across: int, along: int) -> str:
    """Name of one of the nine thirds: `across` 0..2 with increasing angle, `along` 0..2 with increasing
    level.

    "upper left", "upper middle", "middle left", "centre", "lower outer" ...
    """
    low, high = side_words(panel, trunk)
    first, second = ("lower", "middle", "upper")[along], (low, "middle", high)[across]
    return "centre" if (across, along) == (1, 1) else f"{first} {second}"


def spot_name(panel: Panel, trunk: bool, u: float, v: float) -> str:
    """A point (u, v) on or beside the panel: "upper edge", "upper left corner", or "middle".

    An edge is the outer sixth of the panel and whatever lies beyond it.
    """
    low, high = side_words(panel, trunk)
    words = []
    if abs(v) > panel.length_m / 3:
        words.append("upper" if v > 0 else "lower")
    if abs(u) > panel.width_m / 3:
        words.append(high if u > 0 else low)
    return " ".join([*words, ("middle", "edge", "corner")[len(words)]])
