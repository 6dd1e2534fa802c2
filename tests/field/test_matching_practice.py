"""What the generic device shows for computed placements: facts of the trade (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from evenfield.field.absorbed import absorbed_fraction
from evenfield.field.device import Cables, load_device_profile
from evenfield.field.matching import best_match
from tests.field.compute_admittances import admittance, example
from tests.field.placements_computed import EXAMPLES, computed

PROFILE = load_device_profile()
FAR = [(30, 10), (10, 30), (40, 10), (10, 40)]
TWO = [Cables.SPREAD, Cables.CLOSE, Cables.TOUCHING]


def tuning(load: complex, cables: Cables = Cables.SPREAD) -> float:
    return best_match(PROFILE.circuit(cables), load).tuning_percent


@pytest.mark.slow
def test_the_table_is_what_the_solver_gives() -> None:
    """One row of admittances.csv computed again (its command: see compute_admittances.py)."""
    again = admittance(example("upper_arm"), (10, 40), 1.0)
    kept = computed("upper_arm", 10, 40)
    assert again.real == pytest.approx(kept.real, rel=1e-2)
    assert again.imag == pytest.approx(kept.imag, rel=5e-3)


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("gap", [8, 10, 12])
def test_about_ten_millimetres_tune_to_80_percent_or_better(name: str, gap: int) -> None:
    assert tuning(computed(name, gap, gap)) >= 80


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("gaps", FAR, ids=str)
def test_one_panel_too_far_lowers_the_tuning(name: str, gaps: tuple[int, int]) -> None:
    far = tuning(computed(name, *gaps))
    assert far <= tuning(computed(name, 10, 10)) - 9
    if 40 in gaps:
        assert far < 80


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_further_the_lower(name: str) -> None:
    shown = [tuning(computed(name, gap, gap)) for gap in (8, 10, 12, 15, 20, 30)]
    assert shown == sorted(shown, reverse=True)
    one = [tuning(computed(name, 10, gap)) for gap in (10, 20, 30, 40)]
    assert one == sorted(one, reverse=True)


@pytest.mark.parametrize("name", EXAMPLES)
def test_cables_close_or_touching_lower_it_and_spreading_brings_it_back(name: str) -> None:
    load = computed(name, 10, 10)
    spread, close, touching = (tuning(load, lay) for lay in TWO)
    assert touching < close - 10
    assert close < 80 <= spread


@pytest.mark.parametrize("name", EXAMPLES)
def test_less_is_absorbed_through_a_larger_gap_though_less_falls_on_skin(name: str) -> None:
    """The load's conductance falls with the gap and the coil's does not: it takes a larger part."""
    shares = [
        absorbed_fraction(PROFILE, computed(name, gap, gap)).match.load_share for gap in (8, 10, 15, 20, 30)
    ]
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] < 0.8 * shares[0]


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("lay", TWO)
def test_absorbed_fraction_lies_in_its_range(name: str, lay: Cables) -> None:
    found = absorbed_fraction(PROFILE, computed(name, 10, 10), lay)
    assert 0 < found.low < found.mid < found.high < 1
    assert found.mid <= found.tuning_percent / 100
    assert found.mid == pytest.approx(
        found.tuning_percent / 100 * found.match.load_share * (1 - PROFILE.elsewhere.value)
    )


def test_touching_cables_hide_behind_the_tuning() -> None:
    """Half is let through and nearly all of that warms coil and cables: tuning alone does not tell."""
    load = computed("upper_arm", 10, 10)
    spread, touching = (absorbed_fraction(PROFILE, load, lay) for lay in (Cables.SPREAD, Cables.TOUCHING))
    assert touching.tuning_percent > 0.5 * spread.tuning_percent
    assert touching.mid < 0.3 * spread.mid


def test_a_shown_tuning_replaces_the_computed_one() -> None:
    load = computed("thigh", 10, 10)
    free, shown = absorbed_fraction(PROFILE, load), absorbed_fraction(PROFILE, load, shown_tuning_percent=46)
    assert shown.tuning_percent == 46
    assert shown.mid == pytest.approx(free.mid * 46 / free.tuning_percent)
    assert absorbed_fraction(PROFILE, load, shown_tuning_percent=0).high == 0


def test_the_range_is_that_of_what_is_uncertain() -> None:
    """With the coil's Q alone uncertain the range ends at its low and high value; with nothing, it closes."""
    load = computed("thigh", 10, 10)
    exact = replace(
        PROFILE,
        coil_q=replace(PROFILE.coil_q, low=300.0, high=300.0),
        length_m=replace(PROFILE.length_m, low=0.6, high=0.6),
        loss_tangent=replace(PROFILE.loss_tangent, low=0.01, high=0.01),
        spacing_m={lay: replace(q, low=q.value, high=q.value) for lay, q in PROFILE.spacing_m.items()},
        elsewhere=replace(PROFILE.elsewhere, low=0.1, high=0.1),
    )
    found = absorbed_fraction(exact, load, shown_tuning_percent=80)
    assert found.low == pytest.approx(found.high) == pytest.approx(found.mid)
    found = absorbed_fraction(replace(exact, coil_q=PROFILE.coil_q), load, shown_tuning_percent=80)
    for share, q in ((found.low, 200.0), (found.high, 400.0)):
        by_hand = 0.8 * 0.9 * best_match(PROFILE.circuit(coil_q=q), load).load_share
        assert share == pytest.approx(by_hand, rel=1e-12)
    assert found.low < found.mid < found.high


def test_a_value_given_to_the_circuit_is_the_one_used() -> None:
    cables = PROFILE.circuit(length_m=1.2, loss_tangent=0.05, spacing_m=0.1).cables
    assert (cables.length_m, cables.loss_tangent, cables.spacing_m) == (1.2, 0.05, 0.1)


@pytest.mark.parametrize("percent", [-1.0, 100.5, float("nan")])
def test_a_tuning_outside_its_range_is_refused(percent: float) -> None:
    with pytest.raises(ValueError, match="allowed: 0 to 100 %"):
        absorbed_fraction(PROFILE, computed("thigh", 10, 10), shown_tuning_percent=percent)
