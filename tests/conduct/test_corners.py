"""Corners of the fold and of the rules that a scenario of practice does not pass.

Where a figure is used it is the default profile's; the situations are invented.
"""

from __future__ import annotations

import pytest

from evenfield.conduct import Phase, read_profile
from evenfield.conduct.events import (
    Answer,
    Comfort,
    Correction,
    Event,
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
    Stopped,
    TooHotAllOver,
    TuningShown,
)
from tests.conduct.visit import Visit, about, estimate, holding, started, zone

SPOT = HotSpot(id="h", at_s=300, panel="inner", side=Side.FALLING_LEVEL)


def moved(id: str, at_s: float, by_mm: float, panel: str = "inner") -> PanelMoved:
    return PanelMoved(id=id, at_s=at_s, panel=panel, side=Side.FALLING_LEVEL, by_mm=by_mm)


def test_moves_for_a_hot_spot_add_up() -> None:
    visit = holding().enter(SPOT, moved("m", 305, 4), moved("m2", 320, 3), moved("m3", 325, -1))
    visit.enter(TuningShown(id="t", at_s=330, percent=85), HotSpotGone(id="g", at_s=340))
    assert "(6 mm)" in visit.prompt("hot_spot_return", 460).what


def test_moving_another_panel_is_no_answer_to_a_hot_spot() -> None:
    assert "hot_spot_move" in holding().enter(SPOT, moved("m", 305, 4, panel="outer")).rules(306)
    assert "hot_spot_move" in holding().enter(SPOT, moved("m", 305, -4)).rules(306)
    assert "hot_spot_move" not in holding().enter(SPOT, moved("m", 305, 4)).rules(306)


def test_a_hot_spot_that_goes_by_itself_leaves_nothing_to_move_back() -> None:
    visit = holding().enter(SPOT, HotSpotGone(id="g", at_s=310))
    assert visit.at(311).phase is Phase.HOLDING
    assert "hot_spot_return" not in visit.rules(600)


def test_a_hot_spot_that_comes_back_is_moved_for_again() -> None:
    visit = holding().enter(SPOT, moved("m", 305, 4), HotSpotGone(id="g", at_s=340))
    visit.enter(HotSpot(id="h2", at_s=400, panel="inner", side=Side.FALLING_LEVEL))
    assert visit.rules(400)[0] == "hot_spot_move"
    visit.enter(
        moved("m2", 410, 2), HotSpotGone(id="g2", at_s=420), TuningShown(id="t", at_s=421, percent=85)
    )
    assert "(6 mm)" in visit.prompt("hot_spot_return", 540).what


def test_done_at_a_hot_spot_says_that_the_panel_was_moved_though_not_how_far() -> None:
    visit = holding().enter(SPOT).answer("hot_spot_move", 305)
    assert "hot_spot_move" not in visit.rules(306)
    assert "tuning_check" in visit.rules(306)
    assert "hot_spot_ask" not in visit.rules(334)
    assert "hot_spot_ask" in visit.rules(335)
    visit.enter(TuningShown(id="t", at_s=336, percent=85), HotSpotGone(id="g", at_s=340))
    assert "hot_spot_return" not in visit.rules(459)
    assert "mm" not in visit.prompt("hot_spot_return", 460).what


def test_done_at_a_hot_spot_that_is_no_more_moves_nothing() -> None:
    visit = holding().enter(SPOT)
    late = visit.prompt("hot_spot_move", 301).id
    visit.enter(HotSpotGone(id="g", at_s=302))
    before = visit.at(305).state
    visit.enter(PromptAnswered(id="d", at_s=303, prompt=late, answer=Answer.DONE))
    assert visit.at(305).state.tuning_due == before.tuning_due
    assert visit.at(305).state.spots == before.spots == ()


def test_one_panel_back_in_its_place_leaves_the_other_to_go_back() -> None:
    other = HotSpot(id="o", at_s=301, panel="outer", side=Side.FALLING_LEVEL)
    visit = holding().enter(SPOT, other, moved("m", 305, 4), moved("mo", 306, 2, panel="outer"))
    visit.enter(HotSpotGone(id="g", at_s=330), TuningShown(id="t", at_s=335, percent=85))
    inner = next(p for p in visit.at(460).prompts if p.rule == "hot_spot_return" and "inner" in p.what)
    visit.enter(PromptAnswered(id="d", at_s=461, prompt=inner.id, answer=Answer.DONE))
    visit.enter(TuningShown(id="t2", at_s=463, percent=85))
    assert "panel outer" in visit.prompt("hot_spot_return", 464).what


def test_gone_without_a_place_means_all_and_with_a_place_only_that() -> None:
    other = HotSpot(id="o", at_s=301, panel="outer")
    visit = holding().enter(SPOT, other, HotSpotGone(id="g", at_s=310, panel="outer"))
    assert [spot.place.panel for spot in visit.at(311).state.open_spots] == ["inner"]
    visit.enter(HotSpotGone(id="g2", at_s=312))
    assert visit.at(313).state.open_spots == ()
    assert "record_odd" in visit.enter(HotSpotGone(id="g3", at_s=314)).rules(315)


def test_after_a_resume_a_hot_spot_is_given_its_time_again() -> None:
    visit = holding().enter(SPOT, moved("m", 305, 4), Paused(id="p", at_s=370))
    visit.enter(SkinLooked(id="l", at_s=375, redness=1), Resumed(id="r", at_s=385))
    assert "hot_spot_pause" not in visit.rules(444)
    assert "hot_spot_pause" in visit.rules(445)
    visit.enter(Paused(id="p2", at_s=450))
    assert "pause_look" in visit.rules(451)  # looked at before, but not in this pause


@pytest.mark.parametrize(
    "report",
    [
        HotSpot(id="x", at_s=380),
        TooHotAllOver(id="x", at_s=380),
        Sensation(id="x", at_s=380, feeling=Feeling.PAIN),
        Comfort(id="x", at_s=380, score=1),
        SkinReading(id="x", at_s=380, zone="z", celsius=41),
    ],
)
def test_what_is_reported_in_a_pause_asks_for_another_look_before_a_resume(report: Event) -> None:
    visit = holding().enter(SPOT, Paused(id="p", at_s=370), SkinLooked(id="l", at_s=375, redness=1))
    assert visit.rules(379) == ["resume_ready"]
    visit.enter(report)
    assert visit.rules(381) == ["pause_look"]
    assert visit.rules(1500) == ["pause_look"]
    visit.enter(SkinLooked(id="l2", at_s=400, redness=1))
    assert visit.rules(401) == ["resume_ready"]


def test_a_move_that_leaves_little_gap_is_questioned() -> None:
    """The least gap of 5 mm is the profile's own."""
    plan = Planned(id="plan2", at_s=-200, region="thigh", gaps_mm=(("inner", 10), ("outer", 4)))
    visit = holding().enter(plan, moved("m", 300, -4))
    assert "gap_small" not in visit.rules(301)
    visit.enter(PanelMoved(id="m2", at_s=310, panel="inner", by_mm=-2))
    assert "Panel inner would stand 4 mm" in visit.prompt("gap_small", 311).what
    visit.enter(moved("m3", 320, -9))
    assert "0 mm" in visit.prompt("gap_small", 321).what
    visit.enter(Correction(id="c", at_s=330, of="m3"))
    visit.enter(PanelMoved(id="m4", at_s=331, panel="inner", side=Side.RISING_LEVEL, by_mm=5))
    assert "gap_small" in visit.rules(332)  # the other side stands where it was
    visit.enter(PanelMoved(id="m5", at_s=340, panel="inner", by_mm=2))
    assert "gap_small" not in visit.rules(341)
    visit.enter(moved("m6", 350, 1, panel="outer"))
    assert "gap_small" not in visit.rules(351)  # planned so and moved away


def test_tuning_that_comes_ends_the_trouble_with_power() -> None:
    visit = started().enter(PowerWouldNotRise(id="n", at_s=40), TuningShown(id="t", at_s=44, percent=85))
    assert visit.at(45).phase is Phase.RAISING
    low = started().enter(PowerWouldNotRise(id="n", at_s=40), TuningShown(id="t", at_s=44, percent=75))
    assert low.at(45).phase is Phase.NOT_TUNED


def test_a_visit_without_a_plan_is_asked_once_to_see_to_the_panels() -> None:
    visit = Visit(events=[SkinReading(id="r", at_s=-60, zone="z", celsius=33)])
    visit.answer("start_gap", -50, Answer.NOT_NOW, "the couch is being covered").enter(
        SkinReading(id="r2", at_s=-45, zone="z", celsius=33)
    )
    assert "start_gap" not in visit.rules(-44)


def test_the_least_good_tuning_is_good() -> None:
    """ "80 % or better": common practice, no source."""
    visit = started().enter(PowerWouldNotRise(id="n", at_s=40), TuningShown(id="t", at_s=44, percent=80))
    assert visit.at(45).phase is Phase.RAISING
    visit.enter(PowerSet(id="less", at_s=46, watts=5))
    assert visit.at(47).state.tuning_due is None


def test_a_tuning_check_done_without_a_figure_comes_back_while_tuning_is_not_known_to_be_good() -> None:
    visit = started().enter(TuningShown(id="t", at_s=50, percent=72), PowerSet(id="less", at_s=55, watts=5))
    visit.answer("tuning_check", 60)
    assert "tuning_check" not in visit.rules(119)
    visit.answer("tuning_check", 120)
    assert "tuning_check" not in visit.rules(179)
    assert "tuning_check" in visit.rules(180)


def test_looked_at_without_saying_what_keeps_what_was_seen_before() -> None:
    visit = holding().enter(SkinLooked(id="l", at_s=300, redness=0, broken=True), Stopped(id="e", at_s=310))
    visit.answer("skin_after", 320)
    assert visit.at(321).phase is Phase.CLOSED
    assert "skin_not_fine" in visit.rules(321)


def test_looked_at_without_saying_what_is_not_said_to_be_broken() -> None:
    visit = holding().enter(Stopped(id="e", at_s=310)).answer("skin_after", 320)
    assert visit.at(321).phase is Phase.CLOSED
    assert visit.rules(321) == []


def test_what_is_reported_after_the_visit_has_closed_asks_for_another_look() -> None:
    visit = holding().enter(Stopped(id="e", at_s=310), SkinLooked(id="l", at_s=320, redness=1))
    assert visit.rules(399) == []
    for event in (
        HotSpot(id="x", at_s=400),
        TooHotAllOver(id="x", at_s=400),
        Sensation(id="x", at_s=400, feeling=Feeling.PAIN),
    ):
        assert Visit(events=[*visit.events, event]).rules(400) == ["skin_after"]


def test_after_the_return_of_a_panel_heat_is_given_time_again() -> None:
    visit = holding().enter(SPOT, moved("m", 305, 4), HotSpotGone(id="g", at_s=340), moved("b", 470, -4))
    visit.enter(TuningShown(id="t", at_s=475, percent=85), Comfort(id="c", at_s=476, score=9))
    assert "consider_raise" not in visit.rules(769)
    assert "consider_raise" in visit.rules(770)


def test_more_power_needs_tuning_known_and_comfort_told_since() -> None:
    without: list[Event] = [event for event in holding().events if not isinstance(event, TuningShown)]
    visit = Visit(events=without).answer("tuning_check", 250)
    assert visit.at(600).state.tuning_due is None
    assert "consider_raise" not in visit.rules(600)
    before = [event for event in holding().events if not isinstance(event, Comfort)]
    assert "consider_raise" not in Visit(events=[*before, Comfort(id="c", at_s=239, score=9)]).rules(600)


OFF = "\n".join(
    f'[rule.{rule}]\nenabled = false\noff_because = "for the test"\nsource = "us"'
    for rule in (
        "hot_spot_move",
        "all_over_act",
        "comfort_low",
        "feeling_bad",
        "reading_over",
        "skin_not_fine",
        "tuning_low",
        "tune_wait",
    )
)
SILENT = read_profile(f'extends = "default"\nname = "invented"\nversion = "1"\n{OFF}', "test")


@pytest.mark.parametrize(
    "trouble",
    [
        HotSpot(id="x", at_s=40, panel="inner"),
        TooHotAllOver(id="x", at_s=40),
        Comfort(id="x", at_s=40, score=2),
        Sensation(id="x", at_s=40, feeling=Feeling.PAIN),
        SkinReading(id="x", at_s=40, zone="a", celsius=39.5),
        SkinLooked(id="x", at_s=40, redness=4),
        TuningShown(id="x", at_s=40, percent=70),
        PowerWouldNotRise(id="x", at_s=40),
    ],
    ids=lambda event: event.kind,
)
def test_more_power_is_not_asked_for_even_where_the_rule_that_protects_is_off(
    trouble: Event,
) -> None:
    assert "raise_step" in started(profile=SILENT).rules(41)
    assert "raise_step" not in started(profile=SILENT).enter(trouble).rules(41)


def test_the_slow_raise_stops_at_the_largest_power() -> None:
    text = '[numbers.power_most_w]\nvalue = 15\nsource = "manual of our device"'
    profile = read_profile(f'extends = "default"\nname = "invented"\nversion = "1"\n{text}', "test")
    visit = started(profile=profile)
    assert "15 W" in visit.prompt("raise_step", 31).what
    assert "raise_step" not in visit.enter(PowerSet(id="w", at_s=40, watts=15)).rules(100)


def test_an_estimate_from_before_the_pause_says_nothing_about_the_pause() -> None:
    visit = holding().enter(Paused(id="p", at_s=600))
    assert "pause_cools" not in visit.rules(601, estimate(599, zone(), pause_left_s=about(0)))


def test_pause_and_less_power_are_not_asked_for_together() -> None:
    visit = holding().enter(SPOT, moved("m", 305, 4), Comfort(id="c", at_s=310, score=2))
    assert "comfort_low" in visit.rules(311)
    assert "hot_spot_pause" in visit.rules(365)
    assert "comfort_low" not in visit.rules(365)


def test_no_heat_is_added_before_the_skin_and_the_tuning_were_looked_at() -> None:
    paused = holding().enter(SPOT, Paused(id="p", at_s=310))
    assert paused.rules(500) == ["pause_look"]  # and not pause_long beside it
    visit = started().enter(moved("m", 40, 2))
    assert "tuning_check" in visit.rules(60)
    assert "raise_step" not in visit.rules(60)
    back = holding().enter(SPOT, moved("m", 305, 4), HotSpotGone(id="g", at_s=340))
    assert "tuning_check" in back.rules(470)
    assert "hot_spot_return" not in back.rules(470)
