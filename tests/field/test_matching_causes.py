"""Likely causes of a shown tuning: Bayes as arithmetic, and common practice (no source)."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from evenfield.field.device import Cables, load_device_profile
from evenfield.field.diagnosis import (
    AS_PLANNED,
    SOMETHING_ELSE,
    Cause,
    PlannedPanel,
    _density,
    hypotheses,
    likely_causes,
    scaled_admittance,
    sources,
)
from evenfield.field.matching import best_match, stuck_match
from tests.field.placements_computed import EXAMPLES, computed

PROFILE = load_device_profile()
PANELS = (PlannedPanel("inner", 0.010), PlannedPanel("outer", 0.010))


def causes(
    name: str, shown: float, power: float = 60.0, more: Mapping[str, complex] | None = None
) -> tuple[Cause, ...]:
    return likely_causes(
        PROFILE,
        set_power_w=power,
        shown_tuning_percent=shown,
        panels=PANELS,
        admittances={AS_PLANNED: computed(name, 10, 10), **(more or {})},
    )


def solved(name: str) -> dict[str, complex]:
    return {
        "gap_10:inner": computed(name, 20, 10),
        "gap_10:outer": computed(name, 10, 20),
        "gap_20:inner": computed(name, 30, 10),
        "gap_20:outer": computed(name, 10, 30),
        "fat_thinner": computed(name, 10, 10, 0.7),
        "fat_thicker": computed(name, 10, 10, 1.3),
    }


def test_priors_add_up_and_say_they_are_assumed() -> None:
    every = hypotheses(PANELS)
    assert sum(h.prior for h in every) == pytest.approx(1)
    assert sum(h.prior for h in hypotheses(PANELS[:1])) == pytest.approx(1)
    assert len({h.key for h in every}) == len(every) == 11
    assert any("Common practice, no source" in line for line in sources())
    assert any(line.startswith("Assumption") for line in sources())


def test_texts_name_the_panel_and_the_check() -> None:
    by_key = {h.key: h for h in hypotheses(PANELS)}
    assert by_key["gap_20:outer"].text == "The outer panel is about 20 mm further away than planned."
    assert by_key["gap_20:outer"].check == "Use the spacer to look at the gap of the outer panel."
    assert by_key["fat_thinner"].text == "The fat is about 30 % thinner than measured."
    assert by_key["cables_close"].cables is Cables.CLOSE
    assert not any("{" in h.text + h.check for h in by_key.values())


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_scaling_rule_against_the_solver(name: str) -> None:
    """Reactance within 7 %, resistance within 9 %, tuning within 2 percentage points of the solved one."""
    circuit = PROFILE.circuit()
    rule = {h.key: scaled_admittance(h, PANELS, computed(name, 10, 10)) for h in hypotheses(PANELS)}
    for key, exact in solved(name).items():
        by_rule = 1 / rule[key]
        assert by_rule.imag == pytest.approx((1 / exact).imag, rel=0.07)
        assert by_rule.real == pytest.approx((1 / exact).real, rel=0.09)
        shown = best_match(circuit, rule[key]).tuning_percent
        assert shown == pytest.approx(best_match(circuit, exact).tuning_percent, abs=2)


@given(name=st.sampled_from(EXAMPLES), shown=st.floats(0, 100), power=st.floats(1, 300))
def test_weights_are_an_ordered_distribution(name: str, shown: float, power: float) -> None:
    found = causes(name, shown, power)
    weights = [cause.weight for cause in found]
    assert sum(weights) == pytest.approx(1)
    assert min(weights) >= 0
    assert weights == sorted(weights, reverse=True)
    for cause in found:
        if cause.absorbed_w is not None:
            low, mid, high = cause.absorbed_w
            assert 0 <= low <= mid <= high <= power * shown / 100


@pytest.mark.parametrize("name", EXAMPLES)
def test_good_tuning_is_as_planned(name: str) -> None:
    planned = best_match(PROFILE.circuit(), computed(name, 10, 10)).tuning_percent
    first = causes(name, round(planned))[0]
    assert first.hypothesis.key == AS_PLANNED
    assert first.weight > 0.5
    assert first.computed


@pytest.mark.parametrize("name", EXAMPLES)
def test_touching_cables_are_found(name: str) -> None:
    circuit = PROFILE.circuit(Cables.TOUCHING)
    shown = best_match(circuit, computed(name, 10, 10)).tuning_percent
    first = causes(name, shown)[0]
    assert first.hypothesis.key == "cables_touching"
    assert first.predicted_percent == pytest.approx(shown)


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_somewhat_low_tuning_sends_to_cables_and_gaps_first(name: str) -> None:
    """Common practice, no source: is a panel too far away, do the cables run close?"""
    shown = best_match(PROFILE.circuit(), computed(name, 10, 30)).tuning_percent - 4
    kinds = [cause.hypothesis.key.split(":")[0] for cause in causes(name, shown, more=solved(name))]
    searched = [kind for kind in kinds if kind != AS_PLANNED]
    assert set(searched[:4]) <= {"gap_10", "gap_20", "cables_close"}
    both = sum(c.weight for c in causes(name, shown) if c.hypothesis.key.startswith(("gap", "cables")))
    assert both > 0.5


@pytest.mark.parametrize("name", EXAMPLES)
def test_hardly_any_tuning_is_a_tuner_at_its_end(name: str) -> None:
    shown = stuck_match(PROFILE.circuit(), computed(name, 10, 10)).tuning_percent
    assert causes(name, shown)[0].hypothesis.key == "tuner_at_end"


def test_what_nothing_explains_is_something_else() -> None:
    first = causes("thigh", 30)[0]
    assert first.hypothesis.key == SOMETHING_ELSE
    assert first.predicted_percent is None
    assert first.absorbed_w is None


def test_equal_panels_cannot_be_told_apart() -> None:
    weight = {c.hypothesis.key: c.weight for c in causes("upper_arm", 75)}
    assert weight["gap_10:inner"] == pytest.approx(weight["gap_10:outer"])


def test_a_tuning_shown_at_low_power_says_less() -> None:
    """One watt of rounding is 50 % of 2 W: the weights stay near the priors."""
    ratio = {
        power: max(c.weight / c.hypothesis.prior for c in causes("abdomen", 58, power))
        for power in (2.0, 60.0)
    }
    assert ratio[2.0] < 3
    assert ratio[60.0] > 10


def test_weights_are_bayes_by_hand() -> None:
    """Two causes compared: ratio of weights = ratio of priors times ratio of normal densities, with errors of
    2, 6 and 100·1/60/√6 percentage points; neither prediction is near the cut-off at 0 and 100 %."""
    shown, found = 62.0, {c.hypothesis.key: c for c in causes("upper_arm", 62)}
    close, touching = found["cables_close"], found["cables_touching"]
    assert close.predicted_percent is not None
    assert touching.predicted_percent is not None
    variance = 2**2 + 6**2 + (100 / 60) ** 2 / 6
    exponent = (shown - touching.predicted_percent) ** 2 - (shown - close.predicted_percent) ** 2
    by_hand = 0.12 / 0.04 * 2.718281828459045 ** (exponent / (2 * variance))
    assert close.weight / touching.weight == pytest.approx(by_hand, rel=1e-6)


@pytest.mark.parametrize("predicted", [2.0, 50.0, 97.0])
def test_the_error_is_cut_off_at_0_and_100_percent(predicted: float) -> None:
    """A density over 0 to 100 % must hold all its weight there."""
    weight, _ = quad(_density, 0, 100, args=(predicted, 6.3), points=[predicted])
    assert weight == pytest.approx(1, abs=1e-7)


def test_solved_admittances_are_used_and_said() -> None:
    exact = solved("abdomen")
    found = {c.hypothesis.key: c for c in causes("abdomen", 75, more=exact)}
    for key, load in exact.items():
        assert found[key].computed
        assert found[key].predicted_percent == pytest.approx(
            best_match(PROFILE.circuit(), load).tuning_percent
        )
    assert not next(c for c in causes("abdomen", 75) if c.hypothesis.key == "gap_10:inner").computed


def test_the_same_tuning_reaches_the_body_differently() -> None:
    """At 60 % shown, close cables leave the body less than a panel too far: the cause matters."""
    watts = {c.hypothesis.key: c.absorbed_w for c in causes("upper_arm", 60)}
    close, gap = watts["cables_close"], watts["gap_20:inner"]
    assert close is not None
    assert gap is not None
    assert close[1] < gap[1]


def test_what_cannot_be_asked_is_refused() -> None:
    y = computed("thigh", 10, 10)
    with pytest.raises(ValueError, match="set power is 0 W; allowed: above 0 W"):
        causes("thigh", 50, 0)
    with pytest.raises(ValueError, match="allowed: 0 to 100 %"):
        causes("thigh", 101)
    with pytest.raises(ValueError, match="admittance of gap_10:left is not asked for"):
        causes("thigh", 50, more={"gap_10:left": y})
    with pytest.raises(ValueError, match="is missing"):
        likely_causes(PROFILE, set_power_w=60, shown_tuning_percent=80, panels=PANELS, admittances={})
    with pytest.raises(ValueError, match="each name once"):
        hypotheses((PANELS[0], PANELS[0]))
    with pytest.raises(ValueError, match="none; allowed"):
        hypotheses(())
    with pytest.raises(ValueError, match="is 0 mm; allowed: above 0 mm"):
        hypotheses((PlannedPanel("inner", 0.0),))
    three = (*PANELS, PlannedPanel("third", 0.010))
    gap = next(h for h in hypotheses(three) if h.panel)
    with pytest.raises(ValueError, match="with 3 panels its admittance must be computed"):
        scaled_admittance(gap, three, y)
