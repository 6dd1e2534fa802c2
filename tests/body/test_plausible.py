"""The plausible ranges hold real people, and never a real person in centimetres, inches or metres.

Extremes over 507 adults (260 women, 247 men), cm: G. Heinz, L. J. Peterson, R. W. Johnson, C. J. Kerk,
"Exploring Relationships in Body Dimensions", *J. Stat. Educ.* 11(2), 2003; data set bdims of the openintro
collection (label P: read from the open data).
"""

import pytest

from evenfield.body import Measurements, Region, RegionKind
from evenfield.body.plausible import PLAUSIBLE, SKIN, SKIN_M, WALL, WALL_M, WIDTH_TO_DEPTH

EXTREMES_CM = {
    RegionKind.ABDOMEN: [(57.9, 113.2), (64.0, 121.1)],  # waist, navel
    RegionKind.FLANK: [(57.9, 113.2), (64.0, 121.1)],
    RegionKind.THIGH: [(46.3, 75.7)],
    RegionKind.ABOVE_KNEE: [(29.0, 49.0)],  # at the kneecap
    RegionKind.UPPER_ARM: [(22.4, 42.4)],
    RegionKind.CALF: [(28.4, 47.7)],
}


@pytest.mark.parametrize("kind", list(RegionKind))
def test_real_girths_are_allowed_and_the_same_in_other_units_are_not(kind: RegionKind) -> None:
    allowed = PLAUSIBLE[kind].girth_m
    for pair in EXTREMES_CM[kind]:
        for centimetres in pair:
            assert centimetres / 100 in allowed
            for typed_as_mm in (centimetres, centimetres / 2.54, centimetres / 100):
                assert typed_as_mm / 1000 not in allowed


@pytest.mark.parametrize("kind", list(RegionKind))
def test_stand_ins_are_plausible_themselves_and_make_a_region(kind: RegionKind) -> None:
    facts = PLAUSIBLE[kind]
    assert facts.fat.value in facts.fat_m
    assert facts.bone_radius.value in facts.bone_radius_m
    assert facts.width_to_depth.value in WIDTH_TO_DEPTH
    assert SKIN.value in SKIN_M
    assert WALL.value in WALL_M
    girths = [cm / 100 for pair in EXTREMES_CM[kind] for cm in pair]
    for girth in girths:
        Region(
            Measurements(
                kind=kind,
                level_m=(0.0,),
                girth_m=(girth,),
                width_to_depth=facts.width_to_depth.value,
                fat_m=((facts.fat.value,) * 4,),
                skin_m=SKIN.value,
                bone_radius_m=facts.bone_radius.value,
                wall_m=WALL.value,
            )
        )


def test_only_numbers_lie_in_a_span() -> None:
    assert "0.002" not in SKIN_M
    assert float("nan") not in SKIN_M
