"""Events: the door, copies, clashes, late and early clocks, corrections of corrections."""

from __future__ import annotations

import math
from typing import Any

import pytest

from evenfield.conduct import (
    EventError,
    advise,
    default_profile,
    event_from_mapping,
    event_to_mapping,
    standing,
)
from evenfield.conduct.events import (
    Comfort,
    Correction,
    HotSpot,
    Paused,
    PowerSet,
    Resumed,
    Side,
    Started,
    Stopped,
    TooHotAllOver,
)
from tests.conduct.visit import holding, started


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"kind": "comfort", "id": "a", "at_s": 1, "score": 11}, "comfort.score = 11"),
        ({"kind": "comfort", "id": "a", "at_s": 1, "score": -1}, "comfort.score = -1"),
        ({"kind": "tuning_shown", "id": "a", "at_s": 1, "percent": 101}, "percent = 101"),
        ({"kind": "power_set", "id": "a", "at_s": 1, "watts": -5}, "watts = -5"),
        ({"kind": "power_set", "id": "a", "at_s": math.nan, "watts": 5}, "at_s = nan"),
        ({"kind": "power_set", "id": "", "at_s": 1, "watts": 5}, "id = ''"),
        ({"kind": "power_set", "id": "a", "at_s": 1, "watts": 5, "volts": 3}, "volts = 3"),
        ({"kind": "power_set", "id": "a", "at_s": 1}, "watts"),
        ({"kind": "skin_reading", "id": "a", "at_s": 1, "zone": "z", "celsius": 98.6}, "celsius = 98.6"),
        (
            {"kind": "panel_moved", "id": "a", "at_s": 1, "panel": "p", "by_mm": 1, "side": "top"},
            "side = 'top'",
        ),
        ({"kind": "prompt_answered", "id": "a", "at_s": 1, "prompt": "x:y", "answer": "not_now"}, "a reason"),
        ({"kind": "dance", "id": "a", "at_s": 1}, "does not match any of the expected tags"),
        (
            {
                "kind": "correction",
                "id": "a",
                "at_s": 1,
                "of": "b",
                "replacement": {"kind": "comfort", "id": "b", "at_s": 1, "score": 12},
            },
            "score = 12",
        ),
    ],
)
def test_an_event_that_cannot_be_taken_is_refused_in_one_sentence(data: dict[str, Any], said: str) -> None:
    with pytest.raises(EventError) as refused:
        event_from_mapping(data)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


def test_an_event_goes_out_and_comes_back_the_same() -> None:
    spot = HotSpot(id="h", at_s=1.5, received_s=2, panel="inner", side=Side.RISING_ANGLE)
    for event in (
        spot,
        Correction(id="c", at_s=3, of="h", replacement=spot),
        Correction(id="d", at_s=3, of="h"),
    ):
        assert event_from_mapping(event_to_mapping(event)) == event


def test_an_event_needs_an_id_and_finite_numbers_wherever_it_is_made() -> None:
    with pytest.raises(EventError, match="at_s is inf"):
        Started(id="s", at_s=math.inf)
    with pytest.raises(EventError, match="id is empty"):
        Started(id="", at_s=0)
    with pytest.raises(ValueError, match="now_s is nan"):
        advise([], default_profile(), None, math.nan)


def test_one_id_counts_once_and_the_first_known_stands() -> None:
    first = PowerSet(id="p", at_s=10, received_s=11, watts=40)
    clash = PowerSet(id="p", at_s=5, received_s=20, watts=60)
    for events in ([first, clash], [clash, first, first]):
        assert standing(events, 100) == [first]


def test_an_event_counts_from_when_it_was_received() -> None:
    """Written at 100 s without network, received at 200 s: known only then, and dated 100 s."""
    late = TooHotAllOver(id="late", at_s=250, received_s=400)
    visit = holding().enter(late)
    assert visit.at(399).state.all_over is None
    all_over = visit.at(400).state.all_over
    assert all_over is not None
    assert all_over.last.at_s == 250


def test_a_clock_ahead_does_not_delay_a_report() -> None:
    ahead = TooHotAllOver(id="ahead", at_s=900, received_s=300)
    visit = holding().enter(ahead)
    assert visit.rules(300)[0] == "all_over_act"
    assert visit.prompt("all_over_act", 300).since_s == 300


def test_a_correction_counts_from_its_own_time() -> None:
    visit = holding().enter(
        PowerSet(id="slip", at_s=300, watts=800),
        Correction(id="mend", at_s=320, of="slip", replacement=PowerSet(id="x", at_s=300, watts=80)),
    )
    assert "power_above_most" in visit.rules(319)
    assert "power_above_most" not in visit.rules(320)
    assert visit.at(320).state.power_w == 80


def test_a_correction_cannot_date_its_event_later_than_itself() -> None:
    ahead = Correction(id="mend", at_s=320, of="c", replacement=Comfort(id="x", at_s=900, score=2))
    visit = holding().enter(Comfort(id="c", at_s=300, score=8), ahead)
    assert visit.prompt("comfort_low", 321).since_s == 320


def test_a_correction_keeps_the_id_so_that_answers_stay() -> None:
    visit = holding().enter(Comfort(id="c", at_s=300, score=3)).answer("comfort_low", 305)
    visit.enter(Correction(id="mend", at_s=310, of="c", replacement=Comfort(id="x", at_s=300, score=2)))
    assert "comfort_low" not in visit.rules(311)


def test_the_last_correction_stands_and_one_can_be_taken_back() -> None:
    def mend(id: str, at_s: float, of: str, watts: float | None) -> Correction:
        right = None if watts is None else PowerSet(id="any", at_s=10, watts=watts)
        return Correction(id=id, at_s=at_s, of=of, replacement=right)

    wrong = PowerSet(id="p", at_s=10, watts=10)

    def watts(*corrections: Correction) -> list[float]:
        return [fact.watts for fact in standing([*corrections, wrong], 100) if isinstance(fact, PowerSet)]

    assert watts() == [10]
    assert watts(mend("a", 20, "p", 20)) == [20]
    assert watts(mend("a", 20, "p", 20), mend("b", 30, "p", 30)) == [30]
    assert watts(mend("a", 20, "p", 20), mend("b", 30, "p", None)) == []
    assert watts(mend("a", 20, "p", 20), mend("b", 30, "a", None)) == [10]
    assert watts(mend("a", 20, "p", 20), mend("b", 30, "a", 40)) == [40]
    assert watts(mend("a", 20, "p", 20), mend("b", 30, "a", None), mend("c", 40, "b", None)) == [20]
    # of nothing, of itself, of each other
    assert watts(mend("a", 20, "nobody", 20)) == [10]
    assert watts(mend("a", 20, "a", 20)) == [10]
    assert watts(mend("a", 20, "b", 20), mend("b", 30, "a", 40)) == [10]


def test_a_stop_entered_by_mistake_is_taken_back() -> None:
    visit = holding().enter(Stopped(id="oops", at_s=300), Correction(id="mend", at_s=310, of="oops"))
    assert visit.at(305).state.stopped is not None
    assert visit.at(311).state.field_on


@pytest.mark.parametrize(
    ("event", "said"),
    [
        (PowerSet(id="x", at_s=300, watts=40), "40 W was entered in a pause"),
        (Started(id="x", at_s=300), "a pause ends with resume"),
    ],
)
def test_an_entry_that_does_not_fit_is_asked_about_once(event: PowerSet | Started, said: str) -> None:
    visit = holding().enter(Paused(id="p", at_s=290), event)
    assert said in visit.prompt("record_odd", 301).why
    visit.answer("record_odd", 302)
    assert "record_odd" not in visit.rules(900)


def test_double_taps_of_start_pause_and_stop_are_nothing_odd() -> None:
    visit = started().enter(
        Started(id="s2", at_s=3),
        Paused(id="p", at_s=10),
        Paused(id="p2", at_s=11),
        Resumed(id="r", at_s=20),
        Stopped(id="e", at_s=30),
        Stopped(id="e2", at_s=31),
    )
    state = visit.at(40).state
    assert state.odd is None
    assert state.heated_s == 10 + 10
