"""Each impossible placement is refused with one sentence: the key, the value and what is allowed."""

from dataclasses import replace
from math import pi, radians

import numpy as np
import pytest

from evenfield.applicator import Panel, PanelShape, PlacementError, check_placement, place
from evenfield.body import InputError, Measurements, Region, RegionKind

ARM = Region(
    Measurements(
        kind=RegionKind.UPPER_ARM,
        level_m=(-0.08, 0.0, 0.08),
        girth_m=(0.290, 0.300, 0.315),
        width_to_depth=1.0,
        fat_m=((0.012, 0.015, 0.018, 0.014),) * 3,
        skin_m=0.002,
        bone_radius_m=0.011,
        wall_m=0.012,
    )
)
WAIST = Region(
    Measurements(
        kind=RegionKind.ABDOMEN,
        level_m=(-0.12, 0.0, 0.12),
        girth_m=(0.95, 0.80, 0.95),
        width_to_depth=1.35,
        fat_m=((0.028, 0.02, 0.018, 0.02),) * 3,
        skin_m=0.002,
        bone_radius_m=0.011,
        wall_m=0.012,
    )
)
INNER = Panel("inner", PanelShape.FLAT, pi / 2, 0.0, 0.09, 0.14, 0.012)
OUTER = replace(INNER, name="outer", angle_rad=3 * pi / 2, drive=-1.0)


def refusal(region: Region, *panels: Panel) -> PlacementError:
    with pytest.raises(PlacementError) as refused:
        check_placement(region, [place(p, region) for p in panels])
    assert "\n" not in str(refused.value)
    assert refused.value.allowed
    return refused.value


def test_good_placements_pass() -> None:
    check_placement(ARM, [place(INNER, ARM), place(OUTER, ARM)])
    check_placement(ARM, [place(INNER, ARM)])  # one panel: the surroundings are the return
    check_placement(ARM, [place(INNER, ARM), place(replace(OUTER, drive=0.0), ARM)])  # one left idle
    curved = replace(INNER, shape=PanelShape.CURVED, width_m=0.3, gap_m=0.015)
    check_placement(ARM, [place(curved, ARM), place(replace(OUTER, width_m=0.04), ARM)])


def test_it_is_an_input_error() -> None:
    assert isinstance(refusal(ARM), InputError)
    assert str(refusal(ARM)) == "panel: at least one [[panel]] is needed"


@pytest.mark.parametrize(
    ("change", "key", "sentence"),
    [
        ({"gap_m": 0.0}, "panel[0].gap_mm", 'panel[0].gap_mm = 0 (panel "inner"): must be above 0'),
        ({"width_m": -0.1}, "panel[0].width_mm", 'panel[0].width_mm = -100 (panel "inner"): must be above 0'),
        (
            {"tilt_along_rad": float("nan")},
            "panel[0].tilt_along_deg",
            'panel[0].tilt_along_deg = nan (panel "inner"): must be a finite number',
        ),
        (
            {"level_m": 0.05},
            "panel[0].level_mm",
            'panel[0].level_mm = 50 (panel "inner"): with length_mm = 140 the panel reaches from level -20 '
            "to 120 mm, off the region, for the region is measured from level -80 to 80 mm; allowed from "
            "-10 to 10 mm, or measure further",
        ),
        (
            {"length_m": 0.2},
            "panel[0].length_mm",
            'panel[0].length_mm = 200 (panel "inner"): the panel reaches off the region, for the region is '
            "measured from level -80 to 80 mm; allowed up to 160 mm, or measure further",
        ),
    ],
)
def test_sizes_and_reach(change: dict[str, float], key: str, sentence: str) -> None:
    panel = INNER
    for name, value in change.items():
        object.__setattr__(panel := replace(panel), name, value)
    refused = refusal(ARM, panel)
    assert str(refused) == sentence
    assert refused.key == key


def test_all_drives_zero() -> None:
    refused = refusal(ARM, replace(INNER, drive=0.0), replace(OUTER, drive=0.0))
    assert str(refused) == (
        "panel.drive = 0 for every panel: nothing would be heated; at least one drive must differ from 0"
    )


STRAIGHT = Region(replace(ARM.measurements, girth_m=(0.3, 0.3, 0.3)))


def test_flat_panel_past_the_side() -> None:
    refused = refusal(STRAIGHT, replace(INNER, width_m=0.4))
    assert refused.key == "panel[0].width_mm"
    assert refused.value == pytest.approx(400)
    assert str(refused).startswith(
        'panel[0].width_mm = 400 (panel "inner"): a flat panel of this width reaches past the side '
    )
    # on a circle of radius R the edge is seen 70 degrees off square at a half width of (R + gap) tan 70
    widest = 2e3 * (0.300 / (2 * pi) + 0.012) * np.tan(radians(70))
    assert float(refused.allowed.split()[-1]) == pytest.approx(widest, abs=0.6)
    check_placement(STRAIGHT, [place(replace(INNER, width_m=1e-3 * (widest - 1)), STRAIGHT)])


def test_curved_panel_around_itself() -> None:
    refused = refusal(STRAIGHT, replace(INNER, shape=PanelShape.CURVED, width_m=0.5))
    assert refused.key == "panel[0].width_mm"
    turn = np.degrees(0.25 / (0.3 / (2 * pi) + 0.012))
    assert f"would reach {turn:.0f}° around to a side" in str(refused)
    widest = 1e3 * radians(340) * (0.3 / (2 * pi) + 0.012)
    assert float(refused.allowed.split()[-1]) == pytest.approx(widest, abs=0.6)


@pytest.mark.parametrize(
    ("tilt", "degrees_", "edge"),
    [
        ("tilt_along_rad", 10.5, "lower edge"),
        ("tilt_along_rad", -10.5, "upper edge"),
        ("tilt_across_rad", 14.5, "front edge"),
        ("tilt_across_rad", -14.5, "back edge"),
    ],
)
def test_tilt_that_makes_an_edge_touch(tilt: str, degrees_: float, edge: str) -> None:
    panel = replace(INNER, shape=PanelShape.CURVED)
    panel = replace(panel, **{tilt: radians(degrees_)})  # type: ignore[arg-type]
    refused = refusal(ARM, panel)
    key = f"panel[0].{tilt.removesuffix('_rad')}_deg"
    assert refused.key == key
    assert str(refused).startswith(
        f'{key} = {degrees_} (panel "inner"): this tilt brings the panel\'s {edge} '
    )
    assert "at least 1 mm of air is needed everywhere" in str(refused)
    # what is allowed is allowed, and hardly more is: 11 mm over half a length of 70 mm, half a width of 45 mm
    reach = 0.070 if "along" in tilt else 0.045
    ends = [float(end) for end in refused.allowed.removeprefix("from ").removesuffix("°").split(" to ")]
    most = np.degrees(np.arctan(0.011 / reach))
    assert ends == pytest.approx([-most, most], abs=0.1), "to either side"
    for end in ends:
        check_placement(ARM, [place(replace(panel, **{tilt: radians(end)}), ARM)])  # type: ignore[arg-type]


def test_of_two_tilts_the_guilty_one_is_named() -> None:
    panel = replace(INNER, shape=PanelShape.CURVED, tilt_along_rad=radians(10), tilt_across_rad=radians(2))
    assert refusal(ARM, panel).key == "panel[0].tilt_along_deg"
    both = replace(panel, tilt_along_rad=radians(6), tilt_across_rad=radians(7))
    refused = refusal(ARM, both)
    assert refused.key == "panel[0].tilt_along_deg"  # 7.4 mm of the gap against 5.5 mm
    assert "lower edge" in str(refused)


def test_into_and_near_the_skin_are_told_apart() -> None:
    curved = replace(INNER, shape=PanelShape.CURVED)
    assert "mm into the skin;" in str(refusal(ARM, replace(curved, tilt_along_rad=radians(12))))
    assert "within 0.5 mm of the skin at its " in str(refusal(ARM, replace(curved, gap_m=0.0005)))


def test_flat_panel_through_the_skin_of_a_waist() -> None:
    refused = refusal(WAIST, replace(INNER, gap_m=0.005))
    assert refused.key == "panel[0].gap_mm"
    assert "into the skin at its " in str(refused)
    gap = float(refused.allowed.split()[-1])
    check_placement(WAIST, [place(replace(INNER, gap_m=1e-3 * gap), WAIST)])
    refusal(WAIST, replace(INNER, gap_m=1e-3 * (gap - 0.2)))


@pytest.mark.parametrize("shape", list(PanelShape))
def test_overlap_and_too_little_between(shape: PanelShape) -> None:
    first = replace(INNER, shape=shape)
    second = replace(first, name="second", drive=-1.0)
    refused = refusal(ARM, first, replace(second, angle_rad=radians(120)))
    assert refused.key == "panel[1].angle_deg"
    assert str(refused) == (
        'panel[1].angle_deg = 120 (panel "second"): the panel overlaps panel[0] ("inner") as seen from the '
        "region's axis; at least 5 mm between panels is needed: move, turn or narrow one of them"
    )
    # side by side along the region, 3 mm between their edges
    short = replace(first, length_m=0.07, level_m=0.04)
    refused = refusal(ARM, short, replace(short, name="low", level_m=-0.033))
    assert "the panel lies only " in str(refused)
    check_placement(ARM, [place(short, ARM), place(replace(short, level_m=-0.036), ARM)])
    # crossed like a plus sign: no corner of either lies within the other
    wide = replace(first, width_m=0.12, length_m=0.02)
    tall = replace(first, width_m=0.02, length_m=0.14)
    assert "overlaps" in str(refusal(ARM, wide, tall))


def test_overlap_across_the_seam_of_the_angle() -> None:
    first = replace(INNER, angle_rad=radians(5))
    refused = refusal(ARM, first, replace(first, name="b", angle_rad=radians(355)))
    assert "overlaps" in str(refused)


def test_the_far_panel_is_not_taken_for_the_near_one() -> None:
    """Panels facing each other have the same level and the rays are opposite: no overlap."""
    check_placement(ARM, [place(INNER, ARM), place(OUTER, ARM)])
