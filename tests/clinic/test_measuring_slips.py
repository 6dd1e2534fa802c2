"""Readings: units, what agrees, and the likely slip named. No page and no record."""

import numpy as np
import pytest

from evenfield.body import RegionKind
from evenfield.body.plausible import PLAUSIBLE
from evenfield.clinic.measuring.agreement import settle
from evenfield.clinic.measuring.protocols import (
    Protocol,
    default_protocols,
)
from evenfield.clinic.measuring.slips import WEIGHT_KG, HeldAgainst, question, question_of_set
from evenfield.clinic.measuring.units import CM, INCH, KG, MM, POUND, TypedError, TypedUnit

THIGH = PLAUSIBLE[RegionKind.THIGH].girth_m


def protocol(name: str) -> Protocol:
    """A shipped protocol."""
    found = default_protocols().by_id(name)
    assert found
    return found


def test_units_come_from_the_definitions_and_decimal_commas_are_read() -> None:
    """The inch is 25.4 mm and the pound 0.45359237 kg exactly (international yard and pound, 1959)."""
    assert CM.read("61,2") == CM.read("61.2") == 0.612
    assert INCH.read("24") == INCH.read("24.0") == pytest.approx(0.6096, abs=1e-9)
    assert INCH.read("24 1/2") == INCH.read("24.5")
    assert POUND.read("100") == pytest.approx(45.359237, abs=1e-6)
    assert (CM.show(0.612), INCH.show(0.6096), MM.show(0.0123)) == ("61.2 cm", "24.00 in", "12.3 mm")
    wrong: tuple[tuple[TypedUnit, str], ...] = (
        (CM, "1,234.5"), (CM, "6l.2"), (CM, "-5"), (CM, "24 1/2"), (INCH, "24 3/2"), (CM, "0"), (KG, "١٢"),
    )  # fmt: skip
    for unit, text in wrong:
        with pytest.raises(TypedError):
            unit.read(text)


def test_two_that_agree_give_the_mean_and_three_the_median() -> None:
    """WHO waist rule: within 1 cm the mean. ISAK girths: beyond 1 % a third, then the median (label M)."""
    waist = protocol("abdomen_midpoint_tape")
    assert settle([0.880, 0.890], waist).reading == 0.885
    assert not settle([0.880, 0.890], waist).want_another
    assert settle([0.880, 0.8911], waist).want_another
    thigh = protocol("thigh_mid_tape")
    assert settle([0.600, 0.6059], thigh).by == "mean of 2"
    apart = settle([0.600, 0.607], thigh)
    assert apart.want_another
    assert not apart.agreed
    third = settle([0.600, 0.607, 0.606], thigh)
    assert (third.reading, third.by, third.agreed, third.want_another) == (0.606, "median of 3", True, False)
    assert settle([0.500, 0.520, 0.540], thigh).want_another
    never = settle([0.500, 0.520, 0.540, 0.560], thigh)
    assert not never.agreed
    assert not never.want_another


def test_what_the_instrument_shows_is_converted_as_the_protocol_says() -> None:
    """1450/1540 of 20 mm is 18.8 mm (speeds of sound in fat and as scanners assume, Störchle et al. 2017)."""
    assert settle([0.020, 0.020], protocol("fat_ultrasound_1540")).value == pytest.approx(0.0188, abs=5e-5)
    assert settle([0.020, 0.020], protocol("fat_ultrasound_1450")).value == 0.020
    assert settle([0.030, 0.030], protocol("fat_skinfold")).value == pytest.approx(0.013)


@pytest.mark.parametrize(
    ("typed", "unit", "earlier", "slip"),
    [
        ("24.1", CM, 0.612, "inches typed as centimetres"),
        ("612", CM, 0.612, "millimetres typed as centimetres"),
        ("61.2", INCH, 0.612, "centimetres typed as inches"),
        ("16.2", CM, 0.612, "digits exchanged (61.2?)"),
        ("53.8", CM, 0.583, "digits exchanged (58.3?)"),
        ("6.12", CM, 0.612, "decimal place"),
        ("24.1", CM, None, "inches typed as centimetres"),
    ],
)
def test_the_likely_slip_of_a_girth_is_named(
    typed: str, unit: TypedUnit, earlier: float | None, slip: str
) -> None:
    asked = question(typed, unit.read(typed), unit, protocol("thigh_mid_tape"), HeldAgainst(THIGH, earlier))
    assert asked
    assert asked.likely[0].words == slip
    if earlier:
        assert asked.likely[0].meant == pytest.approx(earlier, rel=0.02)


def test_slips_of_fat_and_weight_are_named() -> None:
    fat, weight = protocol("fat_ultrasound_1450"), protocol("weight_scale")
    span = PLAUSIBLE[RegionKind.THIGH].fat_m
    asked = question("2.1", MM.read("2.1"), MM, fat, HeldAgainst(span, 0.0205))
    assert asked
    assert asked.likely[0].words == "centimetres typed as millimetres"
    other = HeldAgainst(span, 0.012, other_places={"outer": 0.024})
    asked = question("24.2", MM.read("24.2"), MM, fat, other)
    assert asked
    assert asked.likely[0].words == "read at another place (outer)"
    asked = question("151", KG.read("151"), KG, weight, HeldAgainst(WEIGHT_KG, 68.4))
    assert asked
    assert asked.likely[0].words == "pounds typed as kilograms"


def test_side_and_level_exchanged_are_named() -> None:
    thigh = protocol("thigh_mid_tape")
    right = HeldAgainst(THIGH, 0.560, other_side=0.620, other_places={"8 cm above": 0.660})
    asked = question("62.1", 0.621, CM, thigh, right)
    assert asked
    assert asked.likely[0].words == "left and right exchanged"
    asked = question("65.8", 0.658, CM, thigh, right)
    assert asked
    assert asked.likely[0].words == "read at another place (8 cm above)"
    own, other = [0.490, 0.572, 0.612], [0.500, 0.583, 0.622]
    assert "left and right" in question_of_set([0.499, 0.584, 0.621], own, other, thigh)
    assert "reverse order" in question_of_set([0.611, 0.571, 0.491], own, other, thigh)
    assert question_of_set([0.486, 0.569, 0.609], own, other, thigh) == ""


def test_a_change_that_bodies_make_is_not_questioned() -> None:
    """3 % of a girth is a usual kept change after losing weight (Verweij et al. 2013)."""
    thigh = protocol("thigh_mid_tape")
    for factor in (0.96, 0.97, 1.0, 1.03, 1.04):
        value = round(0.612 * factor, 3)
        assert question(CM.number(value), value, CM, thigh, HeldAgainst(THIGH, 0.612)) is None
    assert question("62", 0.62, CM, thigh, HeldAgainst(THIGH)) is None


def test_honest_readings_pass_and_slips_are_caught_and_named() -> None:
    """Thighs drawn as in ANSUR II (women, 61.6±5.6 cm; Gordon et al. 2014), 1.5 % apart between visits."""
    thigh, draw = protocol("thigh_mid_tape"), np.random.default_rng(7)
    named = 0
    for true, factor in zip(draw.normal(0.616, 0.056, 300), draw.normal(1.0, 0.015, 300), strict=True):
        earlier = HeldAgainst(THIGH, round(true * factor, 3))
        assert question(CM.number(true), round(true, 3), CM, thigh, earlier) is None
        inches = f"{true / 0.0254:.1f}"
        asked = question(inches, CM.read(inches), CM, thigh, earlier)
        assert asked
        named += asked.likely[0].words == "inches typed as centimetres"
    assert named >= 290
