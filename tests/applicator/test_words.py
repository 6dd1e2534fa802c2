"""Places in words: which way is which follows from the angle convention in docs/architecture.md."""

from math import radians

import pytest

from evenfield.applicator import Panel, PanelShape, spot_name, third_name
from evenfield.applicator.words import panel_words, the_panel


def panel(angle_deg: float) -> Panel:
    return Panel("any", PanelShape.FLAT, radians(angle_deg), 0.0, 0.09, 0.12, 0.012)


@pytest.mark.parametrize(
    ("angle_deg", "trunk", "low", "high"),
    [
        (0, False, "outer", "inner"),
        (90, False, "front", "back"),
        (180, False, "inner", "outer"),
        (270, False, "back", "front"),
        (0, True, "right", "left"),
        (-20, True, "right", "left"),
        (340, True, "right", "left"),
        (30, True, "front", "left"),
        (-30, True, "right", "front"),
        (225, False, "back", "outer"),
        (180, True, "left", "right"),
    ],
)
def test_sides(angle_deg: float, trunk: bool, low: str, high: str) -> None:
    assert third_name(panel(angle_deg), trunk, 0, 1) == f"middle {low}"
    assert third_name(panel(angle_deg), trunk, 2, 1) == f"middle {high}"
    assert spot_name(panel(angle_deg), trunk, -0.045, 0.0) == f"{low} edge"
    assert spot_name(panel(angle_deg), trunk, 0.045, 0.0) == f"{high} edge"


def test_levels_corners_and_middle() -> None:
    assert third_name(panel(90), False, 1, 1) == "centre"
    assert third_name(panel(90), False, 1, 2) == "upper middle"
    assert third_name(panel(90), False, 2, 0) == "lower back"
    assert spot_name(panel(90), False, 0.0, 0.06) == "upper edge"
    assert spot_name(panel(90), False, 0.0, -0.06) == "lower edge"
    assert spot_name(panel(90), False, 0.04, 0.05) == "upper back corner"
    assert spot_name(panel(90), False, 0.02, -0.03) == "middle"


@pytest.mark.parametrize(
    ("name", "words", "with_article"),
    [
        ("inner", "inner panel", "the inner panel"),
        ("panel 1", "panel 1", "panel 1"),
        ("Panel A", "Panel A", "Panel A"),
        ("left panel", "left panel", "the left panel"),
    ],
)
def test_a_panel_by_its_name(name: str, words: str, with_article: str) -> None:
    assert panel_words(name) == words
    assert the_panel(name) == with_article
