"""The practice of the trade, paragraph by paragraph.

Every expectation here is common practice, no source, unless a test says otherwise. Where practice gives a
word and no figure, the default profile's own figure is used (label A there).
"""

from __future__ import annotations

import pytest

from evenfield.conduct import Phase, Urgency
from evenfield.conduct.events import (
    Comfort,
    Feeling,
    HotSpot,
    HotSpotGone,
    PanelMoved,
    Paused,
    Planned,
    PowerSet,
    PowerWouldNotRise,
    PromptAnswered,
    Resumed,
    Sensation,
    Side,
    SkinLooked,
    SkinReading,
    Started,
    Stopped,
    TooHotAllOver,
    TuningShown,
)
from tests.conduct.visit import Answer, Visit, about, estimate, holding, started, zone

LOW_SIDE = Side.FALLING_LEVEL


def hot_spot(id: str, at_s: float) -> HotSpot:
    return HotSpot(id=id, at_s=at_s, panel="inner", side=LOW_SIDE)


def moved(id: str, at_s: float, by_mm: float, side: Side = LOW_SIDE) -> PanelMoved:
    return PanelMoved(id=id, at_s=at_s, panel="inner", side=side, by_mm=by_mm)


def test_panels_at_about_one_centimetre_and_as_parallel_as_possible() -> None:
    visit = Visit().enter(Planned(id="plan", at_s=0, region="thigh"))
    prompt = visit.prompt("start_gap", 1)
    assert "10 mm" in prompt.what
    assert "parallel" in prompt.what
    assert visit.answer("start_gap", 2).rules(3) == []
    assert visit.at(3).phase is Phase.SETTING_UP


def test_power_is_raised_slowly_to_the_starting_level() -> None:
    """80 W is usual on a thigh; step and interval are the profile's own."""
    visit = Visit().enter(Planned(id="plan", at_s=-300, region="thigh"), Started(id="start", at_s=0))
    assert "10 W" in visit.prompt("raise_step", 0).what
    visit.enter(PowerSet(id="w10", at_s=1, watts=10), TuningShown(id="tuned", at_s=2, percent=86))
    assert "raise_step" not in visit.rules(30.9)
    assert visit.at(2).coming[0].rule == "raise_step"
    assert "20 W" in visit.prompt("raise_step", 31).what
    assert visit.at(31).phase is Phase.RAISING
    for step in range(2, 9):
        visit.enter(PowerSet(id=f"w{step}", at_s=31.0 * step, watts=10 * step))
    assert visit.at(260).phase is Phase.HOLDING
    assert "raise_step" not in visit.rules(400)


def test_the_prompt_names_the_number_to_enter() -> None:
    """Ours: one tap enters the level that the words name."""
    prompt = started().prompt("raise_step", 31)
    assert prompt.suggested == 20
    assert "20 W" in prompt.what
    assert started().enter(TuningShown(id="low", at_s=31, percent=70)).at(32).prompts[0].suggested is None


def test_heat_all_over_ends_the_slow_raise() -> None:
    """Ours, following from practice: an increase waits for heat to even out, most of all after too much."""
    visit = started().enter(
        PowerSet(id="w20", at_s=40, watts=20),
        TooHotAllOver(id="hot", at_s=60),
        PowerSet(id="less", at_s=65, watts=10),
        Comfort(id="fine", at_s=90, score=9),
    )
    assert visit.at(91).phase is Phase.HOLDING
    assert [rule for at_s in range(91, 390, 5) for rule in visit.rules(at_s) if "raise" in rule] == []
    visit.enter(Comfort(id="still fine", at_s=385, score=9))
    assert "20 W" in visit.prompt("consider_raise", 391).what
    before = Visit().enter(TooHotAllOver(id="early", at_s=0), Started(id="start", at_s=10))
    assert before.at(11).phase is not Phase.HOLDING


def test_no_step_is_proposed_before_the_panel_is_back() -> None:
    """Practice: when a hot spot has gone, wait and go back towards the first position; no step meanwhile."""
    visit = started().enter(
        hot_spot("spot", 40), moved("away", 45, 3), TuningShown(id="t", at_s=50, percent=85)
    )
    visit.enter(HotSpotGone(id="gone", at_s=60, panel="inner"))
    assert "raise_step" not in [rule for at_s in range(61, 400, 5) for rule in visit.rules(at_s)]
    visit.enter(moved("back", 200, -3), TuningShown(id="t2", at_s=205, percent=85))
    assert "raise_step" in visit.rules(240)


def test_a_leap_instead_of_a_slow_raise_asks_to_hold() -> None:
    visit = started().enter(PowerSet(id="leap", at_s=40, watts=80))
    prompt = visit.prompt("raised_fast", 41)
    assert "10 to 80 W" in prompt.what
    assert "raise_step" not in visit.rules(41)


def test_power_that_will_not_rise_waits_a_few_seconds_and_is_tried_again() -> None:
    visit = started().enter(PowerWouldNotRise(id="no", at_s=40))
    prompt = visit.prompt("tune_wait", 40)
    assert prompt.urgency is Urgency.NOW
    assert prompt.due_s == 45
    assert visit.at(40).phase is Phase.NOT_TUNED
    # the wait is over, and it is tried again: here it rises
    visit.answer("tune_wait", 46)
    assert "20 W" in visit.prompt("raise_step", 46).what
    visit.enter(PowerSet(id="w20", at_s=47, watts=20))
    assert visit.at(48).phase is Phase.RAISING


def test_power_that_still_will_not_rise_means_pause_look_and_restart() -> None:
    visit = started().enter(PowerWouldNotRise(id="no", at_s=40), PowerWouldNotRise(id="no2", at_s=46))
    assert visit.rules(46)[0] == "tune_pause"
    assert "tune_wait" not in visit.rules(46)
    visit.enter(Paused(id="pause", at_s=50))
    look = visit.prompt("tune_look", 50)
    assert "too far" in look.what
    assert "neither person nor couch" in look.what
    assert "resume_ready" not in visit.rules(51)
    visit.answer("tune_look", 70)
    assert "resume_ready" in visit.rules(71)
    visit.enter(Resumed(id="on", at_s=72))
    assert visit.at(72).phase is Phase.RAISING
    assert "tuning_check" in visit.rules(72)


def test_tuning_of_80_percent_is_enough_and_less_is_not() -> None:
    assert "tuning_low" not in started().enter(TuningShown(id="t", at_s=50, percent=80)).rules(50)
    assert "tuning_low" in started().enter(TuningShown(id="t", at_s=50, percent=79)).rules(50)


def test_tuning_is_checked_again_after_every_move() -> None:
    visit = started().enter(moved("m", 50, -2))
    assert "tuning_check" in visit.rules(50)
    visit.enter(TuningShown(id="t", at_s=55, percent=85))
    assert "tuning_check" not in visit.rules(56)
    visit.enter(moved("m2", 60, 3, Side.WHOLE))
    assert "tuning_check" in visit.rules(60)


def test_where_tuning_cannot_be_reached_less_power_until_it_is() -> None:
    visit = started().enter(TuningShown(id="t", at_s=50, percent=72))
    assert visit.rules(50)[0] == "tuning_low"
    assert visit.at(50).phase is Phase.NOT_TUNED
    visit.enter(PowerSet(id="less", at_s=55, watts=5))
    assert "tuning_low" not in visit.rules(56)
    assert "tuning_check" in visit.rules(56)
    assert "raise_step" not in visit.rules(600)  # not while it is not known to be reached
    visit.enter(TuningShown(id="t2", at_s=601, percent=83))
    assert "raise_step" in visit.rules(602)


def test_no_increase_is_considered_before_heat_could_even_out() -> None:
    """4-5 minutes; the starting level was reached at 240 s, so 5 minutes later is 540 s."""
    visit = holding()
    assert "let_even_out" in visit.rules(300)
    assert visit.prompt("let_even_out", 300).due_s == 540
    assert "consider_raise" not in visit.rules(539.9)
    assert "consider_raise" in visit.rules(540)
    assert "let_even_out" not in visit.rules(540)


def test_an_increase_within_four_minutes_asks_to_hold_and_a_later_one_does_not() -> None:
    assert "increase_early" in holding().enter(PowerSet(id="up", at_s=479, watts=90)).rules(480)
    assert "increase_early" not in holding().enter(PowerSet(id="up", at_s=480, watts=90)).rules(481)


def test_an_increase_is_considered_only_on_comfort_told_since() -> None:
    assert "consider_raise" not in Visit(events=holding().events[:-1]).rules(600)
    visit = holding().enter(Comfort(id="so-so", at_s=500, score=6))
    assert "consider_raise" not in visit.rules(600)


def test_comfort_and_heat_are_asked_throughout() -> None:
    visit = started()
    asked = []
    for now_s in range(0, 1800, 10):
        if "comfort_ask" in visit.rules(now_s):
            asked.append(now_s)
            visit.enter(Comfort(id=f"c{now_s}", at_s=now_s, score=8))
    assert asked == list(range(180, 1800, 180))


def test_low_comfort_is_answered_at_once_and_asked_again_soon() -> None:
    visit = holding().enter(Comfort(id="low", at_s=300, score=3))
    assert visit.rules(300)[0] == "comfort_low"
    visit.enter(PowerSet(id="less", at_s=310, watts=60))
    assert "comfort_low" not in visit.rules(311)
    assert "comfort_ask" in visit.rules(360)


def test_the_feeling_should_be_even_warmth() -> None:
    visit = holding().enter(Sensation(id="u", at_s=300, feeling=Feeling.UNEVEN_WARMTH))
    assert "parallel" in visit.prompt("feeling_uneven", 300).what
    visit.enter(Sensation(id="e", at_s=320, feeling=Feeling.EVEN_WARMTH))
    assert "feeling_uneven" not in visit.rules(321)


def test_a_hot_spot_is_answered_at_once_by_moving_that_side_slightly_away() -> None:
    visit = holding().enter(hot_spot("h", 300))
    first = visit.at(300).prompts[0]
    assert (first.rule, first.urgency) == ("hot_spot_move", Urgency.NOW)
    assert "parallel" in first.what
    assert "panel inner" in first.what
    assert first.place is not None
    assert first.place.side is LOW_SIDE
    assert visit.at(300).phase is Phase.HOT_SPOT


def test_when_the_hot_spot_has_gone_wait_and_go_back_towards_the_first_position() -> None:
    """1-2 minutes; the profile takes 2."""
    visit = holding().enter(hot_spot("h", 300), moved("m", 305, 4))
    visit.enter(TuningShown(id="t", at_s=310, percent=84))
    assert "hot_spot_ask" not in visit.rules(334)
    assert "hot_spot_ask" in visit.rules(335)
    visit.enter(HotSpotGone(id="gone", at_s=340))
    assert visit.at(341).phase is Phase.AFTER_HOT_SPOT
    assert "hot_spot_return" not in visit.rules(459)
    assert "4 mm" in visit.prompt("hot_spot_return", 460).what
    visit.enter(moved("back", 465, -4))
    assert visit.at(466).phase is Phase.HOLDING
    assert "tuning_check" in visit.rules(466)


def test_a_hot_spot_that_does_not_go_means_pause_and_look_at_the_skin_quickly() -> None:
    visit = holding().enter(hot_spot("h", 300), moved("m", 305, 4))
    assert "hot_spot_pause" not in visit.rules(364)
    assert visit.rules(365)[0] == "hot_spot_pause"
    visit.enter(Paused(id="pause", at_s=370))
    look = visit.prompt("pause_look", 370)
    assert look.urgency is Urgency.NOW
    assert "cool too much" in look.why
    assert "resume_ready" not in visit.rules(371)
    visit.enter(SkinLooked(id="seen", at_s=380, redness=1))
    assert visit.rules(381) == ["resume_ready"]
    visit.enter(Resumed(id="on", at_s=385))
    assert visit.at(386).phase is Phase.HOT_SPOT  # nobody has said that it is gone
    assert "hot_spot_ask" in visit.rules(415)


def test_a_hot_spot_felt_again_after_the_move_means_pause() -> None:
    visit = holding().enter(hot_spot("h", 300), moved("m", 305, 4), hot_spot("h2", 320))
    assert visit.rules(320)[0] == "hot_spot_pause"


def test_moving_the_other_side_is_no_answer_to_a_hot_spot() -> None:
    visit = holding().enter(hot_spot("h", 300), moved("m", 305, 4, Side.RISING_LEVEL))
    assert "hot_spot_move" in visit.rules(306)


def test_skin_that_does_not_look_fine_keeps_the_field_off() -> None:
    """The redness at which it does is the profile's own."""
    visit = holding().enter(
        hot_spot("h", 300), Paused(id="p", at_s=310), SkinLooked(id="seen", at_s=320, redness=3)
    )
    assert visit.rules(321) == ["skin_not_fine"]
    assert "clinician" in visit.prompt("skin_not_fine", 321).what
    blister = holding().enter(Paused(id="p", at_s=310), SkinLooked(id="s", at_s=320, redness=0, broken=True))
    assert "skin_not_fine" in blister.rules(321)
    assert not {"resume_ready", "pause_long"} & set(blister.rules(900))


def test_too_hot_all_over_means_gap_back_to_about_one_centimetre_or_less_power() -> None:
    visit = holding().enter(TooHotAllOver(id="hot", at_s=300))
    prompt = visit.at(300).prompts[0]
    assert prompt.rule == "all_over_act"
    assert "10 mm" in prompt.what
    assert "less power" in prompt.what
    assert visit.at(300).phase is Phase.HOT_ALL_OVER


@pytest.mark.parametrize(
    "act", [PowerSet(id="a", at_s=310, watts=60), moved("a", 310, 3, Side.WHOLE), Paused(id="a", at_s=310)]
)
def test_what_was_done_about_heat_all_over_is_followed_up(act: PowerSet | PanelMoved | Paused) -> None:
    visit = holding().enter(TooHotAllOver(id="hot", at_s=300), act)
    if isinstance(act, Paused):
        visit.enter(SkinLooked(id="seen", at_s=315, redness=1), Resumed(id="on", at_s=320))
    assert "all_over_act" not in visit.rules(321)
    assert "all_over_ask" in visit.rules(380)
    visit.enter(Comfort(id="better", at_s=381, score=8))
    assert visit.at(382).phase is Phase.HOLDING


def test_heat_all_over_told_again_asks_for_more() -> None:
    visit = holding().enter(
        TooHotAllOver(id="hot", at_s=300),
        PowerSet(id="less", at_s=310, watts=70),
        TooHotAllOver(id="h2", at_s=330),
    )
    assert visit.rules(330)[0] == "all_over_again"


@pytest.mark.parametrize("feeling", [Feeling.ACHE, Feeling.PAIN, Feeling.STINGING, Feeling.NUMBNESS])
def test_ache_and_pain_stop_the_heat(feeling: Feeling) -> None:
    """Stop on any ache or hot spot (from memory)."""
    visit = holding().enter(Sensation(id="s", at_s=300, feeling=feeling))
    assert visit.rules(300)[0] == "feeling_bad"
    visit.enter(PowerSet(id="less", at_s=305, watts=40))
    assert visit.rules(306)[0] == "feeling_bad"  # less power is not enough
    visit.enter(Paused(id="p", at_s=310))
    assert visit.rules(311) == ["pause_look"]


def test_a_person_who_feels_unwell_comes_first() -> None:
    """Ours (A): there is no more to it than the order."""
    visit = holding().enter(hot_spot("h", 300), Sensation(id="s", at_s=300, feeling=Feeling.UNWELL))
    assert visit.rules(300)[:2] == ["feeling_unwell", "hot_spot_move"]


def test_hot_is_asked_after_where() -> None:
    visit = holding().enter(Sensation(id="s", at_s=600, feeling=Feeling.HOT))
    assert "one place or all over" in visit.prompt("feeling_hot", 600).what
    assert "consider_raise" not in visit.rules(600)
    visit.enter(hot_spot("h", 605))
    assert "feeling_hot" not in visit.rules(606)


def test_an_absent_report_of_warmth_proves_nothing() -> None:
    """Stevens and Choo 1998: sensitivity to warming differs about a hundredfold over the body (P)."""
    visit = holding().enter(Sensation(id="s", at_s=500, feeling=Feeling.NO_WARMTH))
    prompt = visit.prompt("no_warmth", 500)
    assert "proves nothing" in prompt.what
    assert "never a reason for more power" in prompt.why
    silent, told = holding().rules(541), [r for r in visit.rules(541) if r != "no_warmth"]
    assert told == silent  # it neither brings an increase nearer nor anything else
    visit.enter(SkinReading(id="r", at_s=545, zone="inner/middle", celsius=35))
    assert "no_warmth" not in visit.rules(546)


def test_the_session_ends_after_its_time_with_the_field_on() -> None:
    """30-45 minutes; a pause does not count."""
    visit = started().enter(Paused(id="p", at_s=600), Resumed(id="r", at_s=700))
    assert "planned_time_over" not in visit.rules(1899)
    assert "planned_time_over" in visit.rules(1900)
    assert "longest_time_over" not in visit.rules(2799)
    assert visit.rules(2800)[0] == "longest_time_over"
    assert "planned_time_over" not in visit.rules(2800)


def test_after_the_stop_the_skin_is_looked_at_and_the_visit_closes() -> None:
    visit = holding().enter(Stopped(id="end", at_s=1800))
    assert visit.rules(1800) == ["skin_after"]
    assert visit.at(1800).phase is Phase.STOPPED
    visit.enter(SkinLooked(id="seen", at_s=1810, redness=1))
    assert visit.rules(1811) == []
    assert visit.at(1811).phase is Phase.CLOSED


def test_a_pause_must_not_cool_the_tissue_too_much() -> None:
    visit = holding().enter(Paused(id="p", at_s=600))
    assert visit.rules(719) == []
    assert visit.rules(720) == ["pause_long"]
    cooling = estimate(610, zone(), pause_left_s=about(180, 60))
    # 90 % range 120 to 240 s from 610 s; said 60 s before its lower end
    assert visit.rules(669.9, estimate(645, pause_left_s=about(145, 60))) == []
    prompt = visit.prompt("pause_cools", 670, estimate(660, pause_left_s=about(130, 60)))
    assert prompt.due_s == 790
    assert visit.at(630, cooling).coming[0].rule == "pause_cools"


def test_a_reading_at_the_limit_asks_for_less_power_and_for_another_reading() -> None:
    visit = holding().enter(SkinReading(id="r", at_s=600, zone="inner/middle", celsius=39))
    assert visit.rules(600)[0] == "reading_over"
    assert "consider_raise" not in visit.rules(600)
    visit.enter(PowerSet(id="less", at_s=610, watts=60))
    assert "reading_over" not in visit.rules(611)
    assert "reading_again" in visit.rules(670)
    near = holding().enter(SkinReading(id="r", at_s=600, zone="z", celsius=38.6))
    assert "reading_near" in near.rules(600)
    assert "reading_near" not in holding().enter(SkinReading(id="r", at_s=1, zone="z", celsius=38.4)).rules(
        600
    )


def test_done_without_its_entry_is_asked_for_once() -> None:
    visit = holding().enter(hot_spot("h", 300), moved("m", 305, 4)).answer("hot_spot_pause", 370)
    assert "hot_spot_pause" not in visit.rules(371)
    assert "record_missing" in visit.rules(430)
    visit.answer("record_missing", 431)
    assert "record_missing" not in visit.rules(500)
    assert "hot_spot_pause" not in visit.rules(500)


def test_not_now_puts_a_prompt_away_for_a_while_only() -> None:
    visit = started()
    assert "comfort_ask" in visit.rules(180)
    visit.answer("comfort_ask", 185, Answer.NOT_NOW, "on the telephone")
    assert "comfort_ask" not in visit.rules(304)
    assert "comfort_ask" in visit.rules(305)
    urgent = holding().enter(hot_spot("h", 300)).answer("hot_spot_move", 302, Answer.NOT_NOW, "hands full")
    assert "hot_spot_move" not in urgent.rules(331)
    assert "hot_spot_move" in urgent.rules(332)


def test_the_next_moment_of_change_is_named() -> None:
    """Due, over, back from "not now", stale: each is named, so that nobody need look in between."""
    assert started().at(2).next_change_s == 31  # the next step
    leap = started().enter(PowerSet(id="leap", at_s=40, watts=80), Comfort(id="c", at_s=40, score=9))
    assert leap.at(100).next_change_s == 220  # the comfort
    leap.enter(Comfort(id="c2", at_s=150, score=9))
    assert leap.at(220).next_change_s == 250  # the hold after the leap is over: 7 steps of 30 s
    urgent = holding().enter(hot_spot("h", 300)).answer("hot_spot_move", 302, Answer.NOT_NOW, "hands full")
    assert urgent.at(303).next_change_s == 332
    assert holding().at(242, estimate(241, zone(fat_c=40))).next_change_s == 271


def test_what_was_answered_before_it_is_due_is_no_longer_announced() -> None:
    visit = started()
    assert "raise_step" in [coming.rule for coming in visit.at(10).coming]
    visit.enter(PromptAnswered(id="a", at_s=10, prompt="raise_step:w10", answer=Answer.DONE))
    assert "raise_step" not in [coming.rule for coming in visit.at(11).coming]
