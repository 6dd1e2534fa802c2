"""Places in words. Front 0°, inner/left 90°, back 180°, outer/right 270°; level up is positive."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenfield.dose import UnderPanel, place_words


def under(panel: str, degrees: float, across: float, along: float, trunk: bool = False) -> str:
    place = UnderPanel(panel, math.radians(degrees), across, along)
    return place_words("skin", angle_rad=math.radians(degrees), level_m=0.0, under=place, trunk=trunk)


@pytest.mark.parametrize(
    ("across", "along", "words"),
    [
        (0.0, 0.9, "upper edge of the inner panel, skin"),
        (0.0, -0.9, "lower edge of the inner panel, skin"),
        (0.2, -0.3, "middle of the inner panel, skin"),
        # The inner panel's side of increasing angle looks to the back, the other to the front.
        (0.9, 0.0, "back edge of the inner panel, skin"),
        (-0.9, 0.0, "front edge of the inner panel, skin"),
        (-1.0, 1.0, "upper front corner of the inner panel, skin"),
        (0.8, -0.7, "lower back corner of the inner panel, skin"),
        (0.5, 0.0, "back half of the inner panel, skin"),
        (0.0, 0.5, "upper half of the inner panel, skin"),
        (0.5, -0.5, "lower back part of the inner panel, skin"),
        (0.5, 0.9, "upper edge of the inner panel, back half, skin"),
        (-0.9, -0.5, "front edge of the inner panel, lower half, skin"),
    ],
)
def test_parts_of_an_inner_panel(across: float, along: float, words: str) -> None:
    assert under("inner", 90.0, across, along) == words


@pytest.mark.parametrize(
    ("degrees", "minus", "plus"),
    [
        (0, "outer", "inner"),
        (360, "outer", "inner"),
        (-20, "outer", "inner"),
        (20, "outer", "inner"),
        (45, "front", "inner"),
        (90, "front", "back"),
        (75, "front", "back"),
        (135, "inner", "back"),
        (180, "inner", "outer"),
        (225, "back", "outer"),
        (270, "back", "front"),
        (315, "outer", "front"),
    ],
)
def test_which_way_the_edges_face(degrees: float, minus: str, plus: str) -> None:
    assert under("first", degrees, -1.0, 0.0) == f"{minus} edge of the first panel, skin"
    assert under("first", degrees, 1.0, 0.0) == f"{plus} edge of the first panel, skin"


def test_the_trunk_has_left_and_right() -> None:
    assert under("upper", 0.0, 1.0, 0.0, trunk=True) == "left edge of the upper panel, skin"
    assert under("upper", 0.0, -1.0, 0.0, trunk=True) == "right edge of the upper panel, skin"
    assert place_words("fat", angle_rad=math.radians(270), level_m=0.0, trunk=True) == (
        "away from the panels, right side, at level 0, fat"
    )


def test_a_name_that_says_panel_is_not_doubled() -> None:
    assert under("Panel B", 0.0, 0.0, 0.0) == "middle of Panel B, skin"


@pytest.mark.parametrize(
    ("degrees", "level_m", "words"),
    [
        (0, 0.06, "away from the panels, front side, 60 mm above level 0, fat"),
        (180, -0.0354, "away from the panels, back side, 35 mm below level 0, fat"),
        (45, 0.0, "away from the panels, front inner side, at level 0, fat"),
        (135, 0.0, "away from the panels, back inner side, at level 0, fat"),
        (225, 0.0, "away from the panels, back outer side, at level 0, fat"),
        (-45, 0.0, "away from the panels, front outer side, at level 0, fat"),
    ],
)
def test_away_from_the_panels(degrees: float, level_m: float, words: str) -> None:
    assert place_words("fat", angle_rad=math.radians(degrees), level_m=level_m) == words


@given(st.floats(-10, 10), st.floats(-1, 1), st.floats(-1, 1), st.booleans())
def test_every_place_has_words(angle: float, across: float, along: float, trunk: bool) -> None:
    place = UnderPanel("A", angle, across, along)
    words = place_words("fat", angle_rad=angle, level_m=0.01, under=place, trunk=trunk)
    assert words.endswith(", fat")
    assert "the A panel" in words
    assert "{" not in words
    assert not (trunk and ("inner" in words or "outer" in words))


@pytest.mark.parametrize(("across", "along", "key"), [(1.1, 0.0, "across"), (0.0, -1.1, "along")])
def test_outside_the_panel_is_refused(across: float, along: float, key: str) -> None:
    with pytest.raises(ValueError, match=rf"{key} is -?1\.1; allowed: -1 to 1"):
        under("inner", 90.0, across, along)
