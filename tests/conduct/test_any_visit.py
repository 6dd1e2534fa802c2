"""What holds for every visit, however absurd: random events, answers, corrections and estimates."""

from __future__ import annotations

import json
import math
import os
import random
from collections.abc import Sequence
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from evenfield.conduct import (
    Advice,
    Estimate,
    Event,
    Likely,
    ZoneEstimate,
    advise,
    contradict,
    default_profile,
    event_from_mapping,
    event_to_mapping,
    fold,
    moments,
    prompt_to_mapping,
    replay,
    replay_to_json,
    standing,
)
from evenfield.conduct.actions import ADDS_HEAT, HOLDS_HEAT, TAKES_HEAT, Action
from evenfield.conduct.events import (
    Answer,
    Comfort,
    Correction,
    Fact,
    Feeling,
    HotSpot,
    HotSpotGone,
    Noted,
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
from evenfield.conduct.rules import RULES, Scene

PROFILE = default_profile()
LAST_S = 3000

PANELS = st.sampled_from(["inner", "outer"])
ZONES = st.sampled_from(["a", "b"])
SIDES = st.sampled_from(Side)
# few different ids, so that copies and clashes are common; few different times, so that ties are
IDS = st.integers(0, 60).map(lambda n: f"e{n}")
TIMES = st.one_of(
    st.integers(-30, LAST_S // 10).map(lambda n: 10.0 * n), st.floats(-300, LAST_S, allow_nan=False)
)
# prompt ids that can really occur for these ids, and some that cannot
PROMPT_IDS = st.builds(
    lambda rule, event, spot: f"{rule}:{event}{spot}",
    st.sampled_from([rule.id for rule in RULES]),
    IDS,
    st.one_of(st.just(""), IDS.map(lambda e: f":{e}")),
) | st.text(min_size=1, max_size=5)

_BASE = {"id": IDS, "at_s": TIMES, "received_s": st.none() | TIMES}
FACTS: st.SearchStrategy[Fact] = st.one_of(
    st.builds(
        Planned,
        **_BASE,
        region=st.sampled_from(["thigh", "calf"]),
        planned_minutes=st.none() | st.floats(1, 60),
        starting_power_w=st.none() | st.floats(5, 300),
    ),
    st.builds(Started, **_BASE),
    st.builds(
        PowerSet, **_BASE, watts=st.one_of(st.sampled_from([0.0, 10.0, 40.0, 80.0]), st.floats(0, 500))
    ),
    st.builds(PowerWouldNotRise, **_BASE),
    st.builds(TuningShown, **_BASE, percent=st.floats(50, 100)),
    st.builds(SkinReading, **_BASE, zone=ZONES, celsius=st.floats(30, 42)),
    st.builds(Comfort, **_BASE, score=st.integers(0, 10)),
    st.builds(Sensation, **_BASE, feeling=st.sampled_from(Feeling)),
    st.builds(HotSpot, **_BASE, panel=st.none() | PANELS, side=st.none() | SIDES, zone=st.none() | ZONES),
    st.builds(HotSpotGone, **_BASE, panel=st.none() | PANELS, side=st.none() | SIDES),
    st.builds(TooHotAllOver, **_BASE),
    st.builds(PanelMoved, **_BASE, panel=PANELS, by_mm=st.floats(-20, 20), side=SIDES),
    st.builds(Paused, **_BASE),
    st.builds(Resumed, **_BASE),
    st.builds(Stopped, **_BASE),
    st.builds(Noted, **_BASE, text=st.just("")),
    st.builds(
        PromptAnswered, **_BASE, prompt=PROMPT_IDS, answer=st.sampled_from(Answer), reason=st.just("why")
    ),
    st.builds(SkinLooked, **_BASE, redness=st.integers(0, 4), broken=st.booleans()),
)
EVENTS: st.SearchStrategy[Event] = st.one_of(
    FACTS, FACTS, FACTS, st.builds(Correction, **_BASE, of=IDS, replacement=st.none() | FACTS)
)
# more or less sensible visits, cut into by random events
BACKBONE: tuple[Event, ...] = (
    Planned(id="p", at_s=-300, region="thigh"),
    Started(id="s", at_s=0),
    TuningShown(id="t", at_s=5, percent=85),
    *(PowerSet(id=f"w{step}", at_s=30.0 * step, watts=10.0 * step) for step in range(1, 9)),
    *(Comfort(id=f"c{n}", at_s=170.0 * n, score=8) for n in range(1, 10)),
)
VISITS = st.builds(
    lambda base, more: [*base, *more],
    st.sampled_from([(), BACKBONE[:2], BACKBONE]),
    st.lists(EVENTS, max_size=25),
)


def _likely(low: float, high: float) -> st.SearchStrategy[Likely]:
    return st.builds(
        lambda value, width: Likely(value, value - width, value + width),
        st.floats(low, high),
        st.floats(0, 2),
    )


ESTIMATES = st.builds(
    Estimate,
    at_s=TIMES,
    zones=st.lists(
        st.builds(
            ZoneEstimate,
            zone=ZONES,
            skin_mean_c=_likely(33, 40),
            skin_hottest_c=_likely(33, 41),
            fat_mean_c=_likely(35, 43),
            fat_hottest_c=_likely(35, 45),
            disagrees=st.booleans(),
        ),
        max_size=3,
    ).map(tuple),
    pause_left_s=st.none() | _likely(-60, 600),
)
# the same examples every time, so that a failure speaks of a change of the code; EXAMPLES=1000 looks further
MANY = int(os.environ.get("EXAMPLES", "60"))
SOME = settings(max_examples=MANY, deadline=None, derandomize="EXAMPLES" not in os.environ)
FEW = settings(SOME, max_examples=max(20, MANY // 3))


def _check_free_of_conflict(advice: Advice) -> None:
    shown = [prompt.action for prompt in advice.prompts]
    for index, action in enumerate(shown):
        for other in shown[index + 1 :]:
            assert not contradict(action, other), (action, other)
    assert not (set(shown) & ADDS_HEAT and set(shown) & TAKES_HEAT)
    assert sum(action in ADDS_HEAT for action in shown) <= 1
    assert not (Action.RAISE_POWER in shown and set(shown) & HOLDS_HEAT)
    ids = [prompt.id for prompt in advice.prompts]
    assert len(ids) == len(set(ids))


HOLD_RULES = {"skin_near_estimated", "reading_near", "disagree", "feeling_hot"}
HEAT_RULES = {"raise_step", "consider_raise", "consider_raise_estimated", "hot_spot_return"}
HEAT_RULES |= {"resume_ready", "pause_long", "pause_cools"}


@SOME
@given(VISITS, st.none() | ESTIMATES, TIMES)
def test_nobody_is_told_to_add_heat_near_a_limit_or_before_a_look_at_what_was_reported(
    events: list[Event], estimate: Estimate | None, now_s: float
) -> None:
    """Written from the practice and not from the table of conflicts: common practice, no source."""
    advice = advise(events, PROFILE, estimate, now_s)
    rules = {prompt.rule for prompt in advice.prompts}
    assert not (rules & HOLD_RULES and rules & HEAT_RULES)
    if advice.state.paused is None:
        return
    facts = [fact for fact in standing(events, now_s) if fact.when_s >= advice.state.paused.at_s]
    reported = [f.when_s for f in facts if isinstance(f, TooHotAllOver)]
    ends = (HotSpotGone, Comfort, Sensation)  # what may say that it has passed
    looked = [f.when_s for f in facts if isinstance(f, SkinLooked | PromptAnswered)]
    if reported and not any(isinstance(f, ends) and f.when_s >= reported[-1] for f in facts):
        assert any(at_s >= reported[-1] for at_s in looked) or not rules & HEAT_RULES


@SOME
@given(VISITS, st.none() | ESTIMATES, TIMES)
def test_prompts_never_contradict_each_other(
    events: list[Event], estimate: Estimate | None, now_s: float
) -> None:
    _check_free_of_conflict(advise(events, PROFILE, estimate, now_s))


@SOME
@given(VISITS, st.none() | ESTIMATES, TIMES)
def test_no_heat_is_added_while_something_is_known_to_speak_against_it(
    events: list[Event], estimate: Estimate | None, now_s: float
) -> None:
    """From the state itself, whatever rules are shown, hidden or answered."""
    advice = advise(events, PROFILE, estimate, now_s)
    state, shown = advice.state, {prompt.action for prompt in advice.prompts}
    if state.open_spots or state.all_over or state.stopped or state.paused:
        assert Action.RAISE_POWER not in shown
    if state.tuning is not None and state.tuning.value < 80:
        assert Action.RAISE_POWER not in shown
    if state.look is not None and (state.look.broken or (state.look.redness or 0) >= 3):
        assert not shown & ADDS_HEAT
    if state.sensation is not None and state.sensation.feeling in {Feeling.PAIN, Feeling.ACHE}:
        assert Action.RAISE_POWER not in shown
    if advice.estimate_used and estimate and any(z.skin_hottest_c.value >= 39 for z in estimate.zones):
        assert Action.RAISE_POWER not in shown
    if state.stopped is not None:
        assert shown <= {Action.LOOK_AT_SKIN, Action.KEEP_OFF, Action.RECORD}


@SOME
@given(VISITS, TIMES, st.randoms(use_true_random=False))
def test_order_of_arrival_and_copies_change_nothing(
    events: list[Event], now_s: float, shuffle: random.Random
) -> None:
    mixed = [*events, *events[::2]]
    shuffle.shuffle(mixed)
    assert advise(mixed, PROFILE, None, now_s) == advise(events, PROFILE, None, now_s)


@SOME
@given(VISITS, TIMES)
def test_an_answered_prompt_stays_answered(events: list[Event], now_s: float) -> None:
    """Whatever time passes; "done" given twice, or "not now" after it, changes nothing."""
    for index, prompt in enumerate(advise(events, PROFILE, None, now_s).prompts):
        done = PromptAnswered(id=f"done{index}", at_s=now_s, prompt=prompt.id, answer=Answer.DONE)
        later = PromptAnswered(
            id=f"later{index}", at_s=now_s + 1, prompt=prompt.id, answer=Answer.NOT_NOW, reason="why"
        )
        for after_s in (0, 1, 130, 2000):
            shown = advise([*events, done, later], PROFILE, None, now_s + after_s).prompts
            assert prompt.id not in {p.id for p in shown}


@SOME
@given(VISITS, TIMES)
def test_not_now_hides_a_prompt_for_the_profiles_time(events: list[Event], now_s: float) -> None:
    for prompt in advise(events, PROFILE, None, now_s).prompts:
        numbers = PROFILE.numbers
        wait_s = (numbers.not_now_urgent_s if prompt.urgency == "now" else numbers.not_now_s).value
        reply = PromptAnswered(id="nn", at_s=now_s, prompt=prompt.id, answer=Answer.NOT_NOW, reason="why")
        known = [event for event in events if event.known_s <= now_s]
        shown = advise([*known, reply], PROFILE, None, now_s + wait_s - 0.001).prompts
        assert prompt.id not in {p.id for p in shown}


@FEW
@given(VISITS, st.lists(ESTIMATES, max_size=6), st.lists(TIMES, min_size=1, max_size=8))
def test_between_two_moments_of_a_replay_nothing_changes(
    events: list[Event], estimates: list[Estimate], times: list[float]
) -> None:
    """So a replay misses nothing, and the live page may wait for the next moment named."""
    replayed = replay(events, PROFILE, estimates, until_s=LAST_S)
    by_time = sorted(estimates, key=lambda e: e.at_s)
    for now_s in times:
        before = [shown for at_s, shown in replayed if at_s <= now_s]
        last = [e for e in by_time if e.at_s <= now_s]
        live = advise(events, PROFILE, last[-1] if last else None, now_s)
        assert live.prompts == (before[-1] if before else ())
        assert live.next_change_s > now_s
        _check_free_of_conflict(live)


@FEW
@given(VISITS, st.lists(ESTIMATES, max_size=6), st.randoms(use_true_random=False))
def test_a_replay_gives_the_same_bytes(
    events: list[Event], estimates: list[Estimate], shuffle: random.Random
) -> None:
    """Also from events that went through JSON and came back in another order."""
    first = replay_to_json(replay(events, PROFILE, estimates))
    stored: list[Event] = [event_from_mapping(json.loads(json.dumps(event_to_mapping(e)))) for e in events]
    shuffle.shuffle(stored)
    assert replay_to_json(replay(stored, PROFILE, estimates)).encode() == first.encode()


@FEW
@given(VISITS, st.lists(ESTIMATES, max_size=4))
def test_what_was_shown_live_is_what_a_replay_shows(
    events: list[Event], estimates: Sequence[Estimate]
) -> None:
    """Live, only the events received so far are at hand; the replay has all of them."""
    for advice in moments(events, PROFILE, estimates):
        known = [event for event in events if event.known_s <= advice.now_s]
        last = [e for e in sorted(estimates, key=lambda e: e.at_s) if e.at_s <= advice.now_s]
        live = advise(known, PROFILE, last[-1] if last else None, advice.now_s)
        assert [prompt_to_mapping(p) for p in live.prompts] == [prompt_to_mapping(p) for p in advice.prompts]


@SOME
@given(VISITS, st.none() | ESTIMATES)
def test_every_proposal_fills_the_words_of_its_rule(events: list[Event], estimate: Estimate | None) -> None:
    """So no wording that the profile accepts can fail in the middle of a visit."""
    state = fold(standing(events, math.inf), PROFILE)
    for rule in RULES:
        for proposal in rule.propose(Scene(state, PROFILE, estimate)):
            assert set(proposal.values) == set(PROFILE.rule[rule.id].fields) or rule.id == "record_missing"
            assert math.isfinite(proposal.show_s)


@SOME
@given(VISITS)
def test_a_correction_is_as_if_the_right_thing_had_been_entered(events: list[Event]) -> None:
    facts = [event for event in events if not isinstance(event, Correction)]
    wrong = PowerSet(id="slip", at_s=400, watts=800)
    right = replace(wrong, watts=80)
    mended = Correction(id="zz", at_s=500, of="slip", replacement=replace(right, id="other", received_s=None))
    back = Correction(id="zzz", at_s=510, of="slip")
    undone = Correction(id="zzzz", at_s=520, of="zzz")
    for now_s in (600.0, 2000.0):
        want = advise([*facts, right], PROFILE, None, now_s)
        assert advise([*facts, wrong, mended], PROFILE, None, now_s) == want
        assert advise([*facts, wrong, mended, back, undone], PROFILE, None, now_s) == want
        without = advise(facts, PROFILE, None, now_s)
        assert advise([*facts, wrong, mended, back], PROFILE, None, now_s) == without
