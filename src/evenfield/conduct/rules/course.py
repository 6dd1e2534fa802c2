"""Rules on the course of a visit: set-up, pauses, the clock, the end, a record that contradicts itself."""

from __future__ import annotations

from collections.abc import Iterator

from evenfield.conduct.actions import Action
from evenfield.conduct.rules.scene import Proposal, Rule, Scene
from evenfield.conduct.state import Mark, Place, latest


def _start_gap(scene: Scene) -> Iterator[Proposal]:
    state = scene.state
    trigger = state.planned or state.begun
    if state.started is None and state.stopped is None and trigger is not None:
        yield Proposal(trigger.id, trigger.at_s)


def _gap_small(scene: Scene) -> Iterator[Proposal]:
    """The moves entered leave a panel closer to the skin than it was planned and than the least gap."""
    if scene.state.stopped is not None:
        return
    for panel, gap in scene.state.gaps.items():
        least = min(scene.n.gap_least_mm.value, gap.planned_mm)
        if gap.closer is not None and gap.least_mm < least:
            values = {"panel": f"Panel {panel}", "left": f"{max(gap.least_mm, 0.0):g}"}
            yield Proposal(gap.closer.id, gap.closer.at_s, place=Place(panel=panel), values=values)


def _pause_look(scene: Scene) -> Iterator[Proposal]:
    """In a pause for heat, and again after anything that is reported in it."""
    state = scene.state
    if state.paused is None or not scene.heat_trouble or scene.skin_not_fine:
        return
    unseen = scene.unseen_since(state.paused)
    if unseen is not None:
        yield Proposal(unseen.id, unseen.at_s)


def _not_fine(scene: Scene) -> Iterator[Proposal]:
    look = scene.state.look
    if scene.skin_not_fine and look is not None:
        seen = "broken or blistered skin" if look.broken else f"redness {look.redness} of 4"
        yield Proposal(look.id, look.at_s, values={"seen": seen})


def _since_pause(mark: Mark | None, paused: Mark) -> Mark | None:
    return mark if mark is not None and mark.at_s >= paused.at_s else None


def _resume_ready(scene: Scene) -> Iterator[Proposal]:
    """What the pause was for has been looked at."""
    state = scene.state
    if state.paused is None or state.started is None:
        return
    tuned = state.refusals or scene.tuning_low
    done = latest(
        (
            _since_pause(state.look, state.paused),
            _since_pause(state.panels_seen, state.paused) if tuned else None,
        )
    )
    if done is not None:
        yield Proposal(done.id, done.at_s)


def _pause_long(scene: Scene) -> Iterator[Proposal]:
    state, estimate = scene.state, scene.estimate
    if estimate is not None and estimate.pause_left_s is not None:
        return
    if state.paused is not None and state.started is not None:
        yield Proposal(state.paused.id, state.paused.at_s + 60 * scene.n.pause_most_minutes.value)


def _pause_cools(scene: Scene) -> Iterator[Proposal]:
    state, estimate = scene.state, scene.estimate
    if state.paused is None or state.started is None or estimate is None or estimate.pause_left_s is None:
        return
    if estimate.at_s < state.paused.at_s:
        return
    left = estimate.pause_left_s
    warn_s = estimate.at_s + max(0.0, left.low) - scene.n.after_check_s.value
    yield Proposal(
        state.paused.id,
        max(state.paused.at_s, warn_s),
        due_s=estimate.at_s + max(0.0, left.value),
        values={
            "left": f"{max(0.0, left.value) / 60:.1f}",
            "low": f"{max(0.0, left.low) / 60:.1f}",
            "high": f"{max(0.0, left.high) / 60:.1f}",
        },
    )


def _time_over(scene: Scene, after_s: float, until_s: float) -> Iterator[Proposal]:
    state = scene.state
    if state.on_since_s is not None and state.started is not None and after_s < until_s:
        begun_s = state.on_since_s - state.heated_s
        yield Proposal(
            state.started.id,
            begun_s + after_s,
            until_s=begun_s + until_s,
            values={"minutes": f"{after_s / 60:g}"},
        )


def _planned_over(scene: Scene) -> Iterator[Proposal]:
    yield from _time_over(scene, scene.state.session_s, 60 * scene.n.session_most_minutes.value)


def _longest_over(scene: Scene) -> Iterator[Proposal]:
    yield from _time_over(scene, 60 * scene.n.session_most_minutes.value, float("inf"))


def _skin_after(scene: Scene) -> Iterator[Proposal]:
    """After the stop, and again after anything that is reported later."""
    state = scene.state
    unseen = None if state.stopped is None or state.started is None else scene.unseen_since(state.stopped)
    if unseen is not None:
        yield Proposal(unseen.id, unseen.at_s)


def _odd(scene: Scene) -> Iterator[Proposal]:
    odd = scene.state.odd
    if odd is not None:
        yield Proposal(odd.id, odd.at_s, values={"sentence": odd.sentence})


def _missing(scene: Scene) -> Iterator[Proposal]:
    """Filled in by `conduct.advice`, which alone knows which proposals were answered and still stand."""
    return iter(())


MISSING = "record_missing"

RULES = (
    Rule("skin_not_fine", Action.KEEP_OFF, _not_fine),
    Rule("longest_time_over", Action.FINISH, _longest_over, "stopped"),
    Rule("planned_time_over", Action.FINISH, _planned_over, "stopped"),
    Rule("pause_look", Action.LOOK_AT_SKIN, _pause_look, "skin_looked"),
    Rule("skin_after", Action.LOOK_AT_SKIN, _skin_after, "skin_looked"),
    Rule("start_gap", Action.CHECK_PLACEMENT, _start_gap),
    Rule("gap_small", Action.CHECK_PLACEMENT, _gap_small, "panel_moved"),
    Rule("record_odd", Action.RECORD, _odd),
    Rule(MISSING, Action.RECORD, _missing),
    Rule("pause_cools", Action.RESUME, _pause_cools, "resumed"),
    Rule("pause_long", Action.RESUME, _pause_long, "resumed"),
    Rule("resume_ready", Action.RESUME, _resume_ready, "resumed"),
)
