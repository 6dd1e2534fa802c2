"""A case written as a case file reads back as the same case."""

from dataclasses import replace
from math import radians
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenfield.case import (
    AbsorbedFraction,
    CaseError,
    PowerKind,
    assumptions,
    case_from_toml,
    case_to_toml,
    file_values,
    read_case,
)
from evenfield.case.model import seconds
from evenfield.heat.power import PowerCurve
from evenfield.heat.room import Room

EXAMPLES = Path(__file__).parents[2] / "examples"
ARM = read_case(EXAMPLES / "upper_arm.toml")


@pytest.mark.parametrize("name", ["abdomen", "upper_arm", "thigh"])
def test_examples_come_back(name: str) -> None:
    case = read_case(EXAMPLES / f"{name}.toml")
    again = case_from_toml(case_to_toml(case))
    assert again == case
    assert assumptions(again) == assumptions(case)
    assert case_to_toml(again) == case_to_toml(case)


def test_the_least_case_stays_open() -> None:
    case = case_from_toml('[region]\nkind = "calf"\ngirth_mm = [370]\n[[panel]]\n')
    text = case_to_toml(case)
    assert "# gap_mm = 10  # common practice, no source" in text
    given = [line for line in text.splitlines() if line and not line.startswith(("#", "["))]
    assert given == ['kind = "calf"', "girth_mm = [370]"]
    assert case_from_toml(text) == case


def test_changed_parts_are_written() -> None:
    session = replace(ARM.session, power=PowerCurve((0.0, 600.0), (50.0, 0.0), 2400.0), after_s=60.0)
    changed = replace(ARM.with_panel("inner", gap_m=0.0105, tilt_along_rad=radians(2.5)), session=session)
    text = case_to_toml(changed)
    assert "gap_mm = 10.5\n" in text
    assert "tilt_along_deg = 2.5\n" in text
    assert "steps = [{ minute = 0, power_w = 50 }, { minute = 10, power_w = 0 }]\n" in text
    # pictures were at the end of 30 minutes by default; they stay there now that power ends at 40
    assert "\npicture_minute = 30\n" in text
    assert case_from_toml(text) == changed


def test_absorbed_power_and_other_words_come_back() -> None:
    session = replace(
        ARM.session,
        power_kind=PowerKind.ABSORBED,
        absorbed_fraction=AbsorbedFraction(0.2, 0.3, 0.4),
        band_c=(39.5, 42.5),
    )
    changed = replace(ARM, session=session, room=Room(21.0, 0.0, 0.3, 0.2, 1.0), title='Say "é" \\ ok')
    assert case_from_toml(case_to_toml(changed)) == changed
    assert file_values(changed)["session.absorbed_w"] == 28


def test_a_bad_case_does_not_read_back() -> None:
    """The writer checks nothing: the reader does, and names the key."""
    with pytest.raises(CaseError) as caught:
        case_from_toml(case_to_toml(ARM.with_panel("inner", tilt_along_rad=radians(12))))
    assert caught.value.key == "panel[0].tilt_along_deg"


@settings(max_examples=300, deadline=None)
@given(st.integers(-6000, 60000), st.integers(-3600, 3600), st.integers(0, 20000))
def test_values_with_a_tenth_of_a_unit_come_back_exactly(
    tenths_mm: int, tenths_deg: int, whole_s: int
) -> None:
    """A file says 12.3 mm, 4.5 degrees or 62 s worth of minutes: in SI and back no digit changes."""
    panel = replace(ARM.panels[0], gap_m=tenths_mm / 10 / 1000, angle_rad=radians(tenths_deg / 10))
    session = replace(ARM.session, picture_s=float(whole_s))
    values = file_values(replace(ARM, panels=(panel,), session=session))
    assert values["panel[0].gap_mm"] == tenths_mm / 10
    assert values["panel[0].angle_deg"] == tenths_deg / 10
    minutes = values["session.picture_minute"]
    assert isinstance(minutes, float)
    assert seconds(minutes) == whole_s


@pytest.mark.parametrize("gap_m", [0.0123456789, 0.1 / 9])
def test_what_no_file_can_say_comes_back_within_rounding(gap_m: float) -> None:
    again = case_from_toml(case_to_toml(ARM.with_panel("inner", gap_m=gap_m)))
    assert again.panels[0].gap_m == pytest.approx(gap_m, rel=1e-15)
