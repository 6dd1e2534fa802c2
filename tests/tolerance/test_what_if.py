"""What-ifs applied to a case, and in words."""

from math import pi, radians
from pathlib import Path

import pytest

from evenfield.case import Case, read_case
from evenfield.tolerance import PanelChange, WhatIf


@pytest.fixture(scope="module")
def case() -> Case:
    return read_case(Path(__file__).parents[2] / "examples" / "upper_arm.toml")


def test_values_are_new_and_shifts_are_from_the_base(case: Case) -> None:
    change = PanelChange("inner", gap_m=0.010, tilt_along_rad=0.1, along_m=0.005, around_m=-0.010)
    inner, outer = WhatIf((change,)).applied_to(case).panels
    assert (inner.gap_m, inner.tilt_along_rad, inner.tilt_across_rad) == (0.010, 0.1, 0.0)
    assert inner.level_m == pytest.approx(0.005)
    assert inner.angle_rad == pytest.approx(pi / 2 - 0.010 / 0.0477, abs=2e-3), "girth 300 mm at level 0"
    assert outer == case.panels[1]


def test_power_and_minutes(case: Case) -> None:
    session = WhatIf(watts=35.0, minutes=20.0).applied_to(case).session
    assert session.power.watts == (35.0,)
    assert session.power.end_s == 1200.0
    with pytest.raises(ValueError, match="allowed: above 0 W"):
        WhatIf(watts=0.0).applied_to(case)


def test_steps_after_the_new_end_are_left_out() -> None:
    thigh = read_case(Path(__file__).parents[2] / "examples" / "thigh.toml")
    short = WhatIf(minutes=5.0).applied_to(thigh).session.power
    assert short.end_s == 300.0
    assert all(start < 300.0 for start in short.start_s)


def test_words(case: Case) -> None:
    change = PanelChange("outer", gap_m=0.015, tilt_across_rad=radians(-3), around_m=0.02, drive=-0.8)
    words = WhatIf((change,), watts=30.0, minutes=25.0).words(case)
    assert words == (
        "outer panel 3 mm further off, tilt across -3.0°, shifted +20 mm around, drive -0.8 instead of -1; "
        "30 W instead of 28 W; 25 min instead of 30 min"
    )
    assert WhatIf().words(case) == "nothing changed"


def test_an_unknown_panel_is_named(case: Case) -> None:
    with pytest.raises(KeyError, match="there are inner, outer"):
        WhatIf((PanelChange("top"),)).applied_to(case)
