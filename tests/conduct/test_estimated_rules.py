"""What the live estimate asks for. The estimates here are invented values; no physics is involved."""

from __future__ import annotations

import pytest

from evenfield.conduct.events import (
    HotSpot,
    HotSpotGone,
    PanelMoved,
    Paused,
    Planned,
    PowerSet,
    PromptAnswered,
    SkinReading,
    TuningShown,
)
from evenfield.conduct.state import Place
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


def test_a_stale_estimate_gives_no_leave_to_add_heat() -> None:
    cool = estimate(600, zone(fat_c=38))
    assert "consider_raise_estimated" in holding().rules(629, cool)
    assert not holding().at(630, cool).estimate_used
    assert not {"consider_raise", "consider_raise_estimated"} & set(holding().rules(630, cool))
    assert "consider_raise" in holding().rules(630)
    assert not holding().at(569, cool).estimate_used  # nor one from the future


def test_what_a_stale_estimate_warned_of_stands_until_heat_is_taken_away_or_the_zone_read() -> None:
    hot = estimate(570, zone(skin_c=37.8, fat_c=37))
    assert "skin_near_estimated" in holding().rules(900, hot)
    other = SkinReading(id="r", at_s=610, zone="b", celsius=36)
    assert "skin_near_estimated" in holding().enter(other).rules(900, hot)
    for answer in (
        SkinReading(id="r", at_s=610, zone="inner/middle", celsius=36),
        PowerSet(id="less", at_s=610, watts=60),
    ):
        assert "skin_near_estimated" not in holding().enter(answer).rules(900, hot)


def test_the_reading_it_asks_for_answers_it_for_a_while() -> None:
    """The rest of 2 minutes is the profile's own."""
    near = zone(skin_c=37.8, fat_c=37)
    visit = holding().enter(SkinReading(id="r", at_s=600, zone="inner/middle", celsius=37))
    assert "skin_near_estimated" not in visit.rules(719, estimate(719, near))
    assert visit.prompt("skin_near_estimated", 720, estimate(720, near)).id == "skin_near_estimated:r"
    assert "skin_near_estimated" in visit.rules(610, estimate(610, zone("b", 38), near))  # read elsewhere
    visit.enter(PowerSet(id="more", at_s=630, watts=90))
    assert "skin_near_estimated" in visit.rules(630, estimate(630, near))


def test_a_disagreement_is_asked_about_until_it_was_read_twice() -> None:
    odd = zone(fat_c=38, disagrees=True)

    def read(number: int, at_s: float) -> SkinReading:
        return SkinReading(id=f"r{number}", at_s=at_s, zone="inner/middle", celsius=33)

    visit = holding().enter(PowerSet(id="less", at_s=595, watts=70), read(1, 600))
    assert (
        visit.prompt("disagree", 601, estimate(601, odd)).id == "disagree:r1"
    )  # at once, whatever was eased
    visit.enter(read(2, 660))
    assert "disagree" not in visit.rules(661, estimate(661, odd))
    assert "consider_raise_estimated" not in visit.rules(960, estimate(960, odd))
    visit.enter(read(3, 960))
    assert "disagree" in visit.rules(961, estimate(961, odd))


def test_nothing_goes_back_towards_the_skin_where_skin_may_be_near_its_limit() -> None:
    gone = (
        HotSpot(id="h", at_s=300, panel="inner"),
        PanelMoved(id="m", at_s=305, panel="inner", by_mm=4),
        HotSpotGone(id="g", at_s=340),
        TuningShown(id="t", at_s=341, percent=85),
    )
    visit = holding().enter(*gone)
    assert "hot_spot_return" in visit.rules(600, estimate(599, zone(skin_c=36, fat_c=40)))
    assert "hot_spot_return" not in visit.rules(600, estimate(599, zone(skin_c=37.8, fat_c=40)))
    visit.enter(SkinReading(id="r", at_s=590, zone="inner/middle", celsius=38.6))
    assert "reading_near" in visit.rules(600)
    assert "hot_spot_return" not in visit.rules(600)


def test_the_band_is_the_plans_where_there_is_a_plan() -> None:
    visit = holding().enter(Planned(id="plan2", at_s=-200, region="thigh", band_c=(40, 43)))
    assert "fat_over_estimated" not in visit.rules(600, estimate(599, zone(fat_c=42.4)))
    prompt = visit.prompt("fat_over_estimated", 600, estimate(599, zone(fat_c=42.6)))
    assert "43 °C" in prompt.why
    raised = visit.prompt("consider_raise_estimated", 600, estimate(599, zone(fat_c=39.4)))
    assert "40 °C" in raised.why


def test_the_zone_read_longest_ago_is_named_first() -> None:
    zones = (zone("a", 35), zone("b", 36), zone("c", 34))
    visit = holding()
    assert "the warmest place" in visit.prompt("reading_due", 600).what
    for name, at_s in (("b", 600), ("a", 900), ("c", 1200)):
        prompt = visit.prompt("reading_due", at_s, estimate(at_s, *zones))
        assert f": {name} first" in prompt.what
        assert prompt.place == Place(zone=name)
        visit.enter(SkinReading(id=f"r{at_s}", at_s=at_s, zone=name, celsius=34))
    assert ": b first" in visit.prompt("reading_due", 1500, estimate(1500, *zones)).what


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
