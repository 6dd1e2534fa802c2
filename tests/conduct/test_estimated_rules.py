"""What the live estimate asks for. The estimates here are invented values; no physics is involved."""

from __future__ import annotations

import pytest

from evenfield.conduct.events import Paused, PowerSet, PromptAnswered
from tests.conduct.visit import Answer, about, estimate, holding, started, zone


def test_skin_estimated_at_the_limit_asks_for_less_power_and_names_its_range() -> None:
    prompt = holding().prompt("skin_over_estimated", 600, estimate(599, zone(skin_c=38.5), zone("b", 36)))
    assert prompt.place is not None
    assert prompt.place.zone == "inner/middle"
    assert "39.0 °C" in prompt.what
    assert "38.5 to 39.5 °C" in prompt.why
    assert "not a measurement" in prompt.why


def test_skin_whose_range_reaches_the_margin_asks_for_a_reading_and_no_more_power() -> None:
    """Limit 39 °C less 0.5 K; the upper end of the hottest point is the mean and 1 K."""
    visit = holding()
    assert "skin_near_estimated" in visit.rules(600, estimate(599, zone(skin_c=37.5, fat_c=37)))
    assert "consider_raise_estimated" not in visit.rules(600, estimate(599, zone(skin_c=37.5, fat_c=37)))
    assert "skin_near_estimated" not in visit.rules(600, estimate(599, zone(skin_c=37.4, fat_c=37)))


def test_fat_over_the_band_asks_for_a_little_less() -> None:
    assert "fat_over_estimated" in holding().rules(600, estimate(599, zone(fat_c=41.6)))
    assert "fat_over_estimated" not in holding().rules(600, estimate(599, zone(fat_c=41.5)))


def test_more_power_is_considered_where_fat_is_below_the_band_with_its_whole_range() -> None:
    visit = holding()
    assert "consider_raise_estimated" in visit.rules(600, estimate(599, zone(fat_c=38.4)))
    assert "consider_raise_estimated" not in visit.rules(600, estimate(599, zone(fat_c=38.5)))
    assert "consider_raise" not in visit.rules(600, estimate(599, zone(fat_c=40)))
    assert "consider_raise_estimated" not in visit.rules(
        600, estimate(599, zone(fat_c=38.4), zone("b", fat_c=41.1))
    )


def test_readings_that_disagree_ask_for_another_and_no_more_power() -> None:
    odd = estimate(599, zone(fat_c=38, disagrees=True))
    assert holding().rules(600, odd)[0] == "disagree"
    assert not {"consider_raise", "consider_raise_estimated"} & set(holding().rules(600, odd))


def test_a_stale_estimate_is_not_used() -> None:
    hot = estimate(570, zone(skin_c=40))
    assert holding().at(599.9, hot).estimate_used
    assert not holding().at(600, hot).estimate_used
    assert "skin_over_estimated" not in holding().rules(600, hot)
    assert not holding().at(569, hot).estimate_used  # nor one from the future


def test_with_the_field_off_the_estimate_asks_for_no_less_power() -> None:
    visit = holding().enter(Paused(id="p", at_s=590))
    assert "skin_over_estimated" not in visit.rules(600, estimate(599, zone(skin_c=40)))


def test_a_prompt_from_the_estimate_does_not_follow_every_update() -> None:
    visit = holding()
    ids = {
        visit.prompt("skin_over_estimated", now_s, estimate(now_s, zone(skin_c=39 + now_s / 1e4))).id
        for now_s in range(600, 700)
    }
    assert len(ids) == 1


def test_after_less_power_it_rests_and_comes_back_only_if_it_did_not_help() -> None:
    """The rest of 2 minutes is the profile's own."""
    hot = zone(skin_c=40)
    visit = holding().enter(PowerSet(id="less", at_s=600, watts=70))
    assert "skin_over_estimated" not in visit.rules(719, estimate(719, hot))
    assert "skin_over_estimated" in visit.rules(720, estimate(720, hot))


def test_after_done_it_rests_and_then_answers_to_that_answer() -> None:
    hot = zone(skin_c=40)
    visit = holding()
    first = visit.prompt("skin_over_estimated", 600, estimate(600, hot))
    visit.enter(PromptAnswered(id="did", at_s=601, prompt=first.id, answer=Answer.DONE))
    assert "skin_over_estimated" not in visit.rules(720, estimate(720, hot))
    again = visit.prompt("skin_over_estimated", 721, estimate(721, hot))
    assert again.id == "skin_over_estimated:did"


def test_put_away_or_done_it_still_keeps_more_power_away() -> None:
    """A hidden prompt whose reason stands keeps heat from being added; the slow raise sees no estimate."""
    hot = estimate(60, zone(skin_c=40))
    assert "raise_step" in started().rules(60)
    prompt = started().prompt("skin_over_estimated", 60, hot)
    for answer in Answer:
        reply = PromptAnswered(id="a", at_s=60, prompt=prompt.id, answer=answer, reason="busy")
        rules = started().enter(reply).rules(61, hot)
        assert not {"skin_over_estimated", "raise_step"} & set(rules)


@pytest.mark.parametrize("left_s", [-30.0, 0.0])
def test_a_pause_that_has_already_cooled_the_fat_is_said_at_once(left_s: float) -> None:
    visit = holding().enter(Paused(id="p", at_s=600))
    assert "pause_cools" in visit.rules(610, estimate(610, zone(fat_c=39), pause_left_s=about(left_s)))
