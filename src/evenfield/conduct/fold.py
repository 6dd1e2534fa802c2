"""From events to the state of a visit: one pure step per event.

No event is refused and none raises. An entry that does not fit (power entered while paused, a resume without
a pause) still counts for what it says about the person, and is remembered as odd so that the record is put
right. What each event means in each state is the table in docs/conduct.md.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import reduce
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from evenfield.conduct.events import (
    Answer,
    Comfort,
    Fact,
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
from evenfield.conduct.profile import PracticeProfile
from evenfield.conduct.state import (
    AllOver,
    Gap,
    Level,
    Look,
    Mark,
    Odd,
    Place,
    Reading,
    Reply,
    Said,
    Spot,
    State,
)

if TYPE_CHECKING:
    from dataclasses import replace as changed
else:

    def changed(state: State, **changes: Any) -> State:
        """`dataclasses.replace` for a `State`, ten times as quick: a visit is folded anew at every update."""
        after = object.__new__(State)
        after.__dict__.update(state.__dict__, **changes)
        return after


def fold(facts: Iterable[Fact], profile: PracticeProfile) -> State:
    """The state after ``facts``, which must be in order (`evenfield.conduct.timeline.standing`)."""
    start = State(session_s=60 * profile.numbers.session_minutes.value, target_w=profile.starting_power(None))
    return reduce(lambda state, fact: step(state, fact, profile), facts, start)


def step(state: State, fact: Fact, profile: PracticeProfile) -> State:
    """The state after one more event."""
    mark = Mark(fact.id, fact.when_s)
    if state.begun is None and not isinstance(fact, Planned):
        state = changed(state, begun=mark)
    match fact:
        case Planned():
            return _planned(state, fact, mark, profile)
        case Started():
            return _started(state, mark)
        case PowerSet():
            return _power(state, fact.watts, mark, profile)
        case PowerWouldNotRise():
            if not state.field_on:
                return _odd(state, mark, "Power would not rise was entered with the field recorded as off.")
            return changed(state, refusals=(*state.refusals, mark), waited=False)
        case TuningShown():
            good = fact.percent >= profile.numbers.tuning_least_percent.value
            level = Level(mark.id, mark.at_s, fact.percent)
            return changed(state, tuning=level, tuning_due=None, refusals=() if good else state.refusals)
        case SkinReading():
            before = state.readings.get(fact.zone)
            read = Reading(mark.id, mark.at_s, fact.celsius, None if before is None else before.at_s)
            return changed(state, readings=MappingProxyType({**state.readings, fact.zone: read}))
        case Comfort():
            state = changed(state, comfort=Level(mark.id, mark.at_s, float(fact.score)))
            enough = fact.score >= profile.numbers.comfort_enough.value
            return _all_over_gone(state, mark) if enough else state
        case Sensation():
            state = changed(state, sensation=Said(mark.id, mark.at_s, fact.feeling))
            return _all_over_gone(state, mark) if fact.feeling is Feeling.EVEN_WARMTH else state
        case HotSpot():
            return _hot_spot(state, Place(fact.panel, fact.side, fact.zone), mark)
        case HotSpotGone():
            return _hot_spot_gone(state, Place(fact.panel, fact.side, fact.zone), mark)
        case TooHotAllOver():
            return _all_over(state, mark)
        case PanelMoved():
            return _moved(state, fact, mark)
        case Paused():
            return _paused(state, mark)
        case Resumed():
            return _resumed(state, mark)
        case Stopped():
            if state.stopped is not None:
                return state
            return changed(_off(state, mark), stopped=mark, paused=None)
        case SkinLooked():
            return changed(state, look=Look(mark.id, mark.at_s, fact.redness, fact.broken))
        case PromptAnswered():
            reply = Reply(mark.id, mark.at_s, fact.prompt, fact.answer)
            state = changed(state, replies=(*state.replies, reply))
            return _done(state, fact.prompt, mark) if fact.answer is Answer.DONE else state
        case _:  # a note says nothing that a rule could use
            return state


def _odd(state: State, mark: Mark, sentence: str) -> State:
    return changed(state, odd=Odd(mark.id, mark.at_s, sentence))


def _planned(state: State, fact: Planned, mark: Mark, profile: PracticeProfile) -> State:
    minutes = fact.planned_minutes
    watts = fact.starting_power_w
    state = changed(
        state,
        planned=mark,
        region=fact.region,
        session_s=60 * (profile.numbers.session_minutes.value if minutes is None else minutes),
        target_w=profile.starting_power(fact.region) if watts is None else watts,
        band_c=fact.band_c,
        gaps=MappingProxyType({panel: Gap(gap_mm) for panel, gap_mm in fact.gaps_mm}),
    )
    return _reach(state, mark)


def _reach(state: State, mark: Mark) -> State:
    if state.started is None or state.reached is not None or state.power_w < state.target_w:
        return state
    return changed(state, reached=mark, even_from=mark)


def _started(state: State, mark: Mark) -> State:
    if state.stopped is not None:
        return _odd(state, mark, "A start was entered after the stop.")
    if state.started is not None:
        if state.paused is not None:
            return _odd(state, mark, "A start was entered during a pause; a pause ends with resume.")
        return state
    state = changed(state, started=mark, paused=None, on_since_s=mark.at_s, tuning_due=mark, last_change=mark)
    return _reach(state, mark)


def _power(state: State, watts: float, mark: Mark, profile: PracticeProfile) -> State:
    before = state.power or Level("", mark.at_s, 0.0)
    after = changed(state, power=Level(mark.id, mark.at_s, watts))
    if watts > before.value:
        after = changed(
            after, last_raise=mark, raised_from=before, last_change=mark, refusals=(), waited=False
        )
        if state.reached is not None:
            after = changed(after, even_from=mark, even_before=state.even_from)
    elif watts < before.value:
        tuning = state.tuning
        low = tuning is not None and tuning.value < profile.numbers.tuning_least_percent.value
        after = changed(
            after,
            last_lower=mark,
            last_change=mark,
            last_relief=mark,
            tuning_due=mark if low and state.field_on else state.tuning_due,
            all_over=_acted(state.all_over, mark),
        )
    after = _reach(after, mark)
    if watts > 0 and not state.field_on:
        when = "after the stop" if state.stopped else "in a pause" if state.paused else "before the start"
        return _odd(after, mark, f"{watts:g} W was entered {when}.")
    return after


def _all_over(state: State, mark: Mark) -> State:
    """Heat all over also ends the slow raise: the level it was told at is as high as the first level goes,
    and whatever is considered later waits as long as any other increase."""
    held = state.all_over
    reports = (mark,) if held is None else (*held.reports, mark)
    state = changed(state, all_over=AllOver(reports, None if held is None else held.acted))
    if state.field_on and state.power_w > 0 and state.reached is None:
        state = changed(state, reached=mark, even_from=mark)
    return state


def _acted(held: AllOver | None, mark: Mark) -> AllOver | None:
    return None if held is None else replace(held, acted=mark)


def _all_over_gone(state: State, mark: Mark) -> State:
    return state if state.all_over is None else changed(state, all_over=None, even_from=_even(state, mark))


def _even(state: State, mark: Mark) -> Mark | None:
    """Heat is given time to even out again, once the starting level has been reached."""
    return state.even_from if state.reached is None else mark


def _hot_spot(state: State, place: Place, mark: Mark) -> State:
    spots = list(state.spots)
    for index, spot in enumerate(spots):
        if spot.place == place:
            if spot.gone is None:
                spots[index] = replace(spot, reports=(*spot.reports, mark))
            else:  # it came back: a new one, remembering how far the panel already stands off
                spots[index] = replace(spot, reports=(mark,), moved=None, gone=None)
            return changed(state, spots=tuple(spots))
    return changed(state, spots=(*spots, Spot(place, (mark,))))


def _hot_spot_gone(state: State, place: Place, mark: Mark) -> State:
    meant = [spot for spot in state.open_spots if place.covers(spot.place)]
    if not meant:
        return _odd(state, mark, "A hot spot was entered as gone where none was open.")
    kept = tuple(
        replace(spot, gone=mark) if spot in meant else spot
        for spot in state.spots
        # nothing to move back where nothing was moved
        if not (spot in meant and spot.moved is None and spot.moved_mm <= 0)
    )
    return changed(state, spots=kept, even_from=_even(state, mark))


def _moved(state: State, fact: PanelMoved, mark: Mark) -> State:
    away = fact.by_mm > 0
    spots: list[Spot] = []
    returned = False
    for spot in state.spots:
        if not _touches(fact, spot):
            spots.append(spot)
        elif away:
            spots.append(
                replace(
                    spot,
                    moved=mark if spot.gone is None else spot.moved,
                    moved_mm=spot.moved_mm + fact.by_mm,
                    moved_panel=fact.panel,
                    moved_side=fact.side,
                )
            )
        elif spot.gone is not None and fact.by_mm < 0:
            returned = True
        else:
            spots.append(replace(spot, moved_mm=max(0.0, spot.moved_mm + fact.by_mm)))
    return changed(
        state,
        spots=tuple(spots),
        tuning_due=mark if state.field_on else state.tuning_due,
        all_over=_acted(state.all_over, mark) if away else state.all_over,
        even_from=_even(state, mark) if returned else state.even_from,
        panels_seen=mark,
        last_change=mark,
        last_relief=mark if away else state.last_relief,
        gaps=_gaps(state.gaps, fact, mark),
    )


def _gaps(gaps: Mapping[str, Gap], fact: PanelMoved, mark: Mark) -> Mapping[str, Gap]:
    gap = gaps.get(fact.panel)
    if gap is None:
        return gaps
    return MappingProxyType({**gaps, fact.panel: gap.moved(fact.side, fact.by_mm, mark)})


def _touches(fact: PanelMoved, spot: Spot) -> bool:
    panel = spot.place.panel or spot.moved_panel
    same_side = spot.place.side in (None, Side.WHOLE) or fact.side in (Side.WHOLE, spot.place.side)
    return panel in (None, fact.panel) and same_side


def _off(state: State, mark: Mark) -> State:
    on = 0.0 if state.on_since_s is None else mark.at_s - state.on_since_s
    return changed(
        state,
        heated_s=state.heated_s + on,
        on_since_s=None,
        all_over=_acted(state.all_over, mark),
        last_change=mark,
        last_relief=mark,
    )


def _paused(state: State, mark: Mark) -> State:
    if state.stopped is not None:
        return _odd(state, mark, "A pause was entered after the stop.")
    if state.paused is not None:
        return state
    return changed(_off(state, mark), paused=mark)


def _resumed(state: State, mark: Mark) -> State:
    if state.stopped is not None:
        return _odd(state, mark, "A resume was entered after the stop.")
    if state.started is None:
        return _odd(changed(state, paused=None), mark, "A resume was entered before the start.")
    if state.paused is None:
        return _odd(state, mark, "A resume was entered without a pause.")
    return changed(
        state,
        paused=None,
        resumed=mark,
        on_since_s=mark.at_s,
        tuning_due=mark,
        refusals=(),
        waited=False,
        even_from=_even(state, mark),
        last_change=mark,
    )


def _done(state: State, prompt: str, mark: Mark) -> State:
    """What "done" tells beyond putting the prompt away. Rules not named here: nothing."""
    rule, _, trigger = prompt.partition(":")
    effect = _DONE.get(rule)
    return state if effect is None else effect(state, trigger, mark)


def _done_move(state: State, trigger: str, mark: Mark) -> State:
    spots = tuple(
        replace(spot, moved=mark)
        if spot.gone is None and any(report.id == trigger for report in spot.reports)
        else spot
        for spot in state.spots
    )
    if spots == state.spots:
        return state
    return changed(state, spots=spots, tuning_due=mark if state.field_on else state.tuning_due)


def _done_return(state: State, trigger: str, mark: Mark) -> State:
    left = tuple(s for s in state.spots if s.gone is None or f"{s.gone.id}:{s.first.id}" != trigger)
    if left == state.spots:
        return state
    due = mark if state.field_on else state.tuning_due
    return changed(state, spots=left, even_from=_even(state, mark), tuning_due=due)


def _done_all_over(state: State, trigger: str, mark: Mark) -> State:
    held = state.all_over
    if held is None or held.last.id != trigger:
        return state
    return changed(state, all_over=replace(held, acted=mark))


def _done_tuning(state: State, trigger: str, mark: Mark) -> State:
    due = state.tuning_due
    return changed(state, tuning_due=None) if due is not None and due.id == trigger else state


def _done_wait(state: State, trigger: str, mark: Mark) -> State:
    last = state.refusals[-1].id if state.refusals else None
    return changed(state, waited=True) if last == trigger else state


def _done_panels(state: State, trigger: str, mark: Mark) -> State:
    return changed(state, panels_seen=mark)


def _done_look(state: State, trigger: str, mark: Mark) -> State:
    """Looked at, result not entered: what was last seen still stands."""
    seen = state.look
    redness, broken = (None, False) if seen is None else (seen.redness, seen.broken)
    return changed(state, look=Look(mark.id, mark.at_s, redness, broken))


_DONE: dict[str, Callable[[State, str, Mark], State]] = {
    "hot_spot_move": _done_move,
    "hot_spot_return": _done_return,
    "all_over_act": _done_all_over,
    "all_over_again": _done_all_over,
    "tuning_check": _done_tuning,
    "tune_wait": _done_wait,
    "tune_look": _done_panels,
    "feeling_uneven": _done_panels,
    "pause_look": _done_look,
    "skin_after": _done_look,
}
