"""Rules on tuning: power that will not rise, tuning below the threshold, checking again after every move."""

from __future__ import annotations

from collections.abc import Iterator

from evenfield.conduct.actions import Action
from evenfield.conduct.rules.scene import Proposal, Rule, Scene
from evenfield.conduct.state import latest


def _check(scene: Scene) -> Iterator[Proposal]:
    state = scene.state
    if not state.field_on or state.power is None or state.power.value <= 0:
        return
    if state.tuning_due is not None:
        yield Proposal(state.tuning_due.id, max(state.tuning_due.at_s, state.power.at_s))
        return
    lowered = state.last_lower
    acted = scene.tuning_low and lowered is not None and state.tuning and lowered.at_s >= state.tuning.at_s
    if acted or (state.refusals and state.waited):
        refusal = state.refusals[-1] if state.refusals else None
        anchor = latest((lowered, refusal, scene.last_done("tuning_check")))
        if anchor is not None:
            yield Proposal(anchor.id, anchor.at_s + scene.n.after_check_s.value)


def _low(scene: Scene) -> Iterator[Proposal]:
    state = scene.state
    if not (state.field_on and scene.tuning_low and state.tuning and state.power_w > 0):
        return
    if state.last_lower is None or state.last_lower.at_s < state.tuning.at_s:
        yield Proposal(state.tuning.id, state.tuning.at_s, values={"tuning": f"{state.tuning.value:g}"})


def _wait(scene: Scene) -> Iterator[Proposal]:
    refusals = scene.state.refusals
    if scene.state.field_on and refusals and not scene.state.waited:
        if len(refusals) > scene.n.tuning_tries.value:
            return
        last = refusals[-1]
        yield Proposal(last.id, last.at_s, due_s=last.at_s + scene.n.tuning_wait_s.value)


def _pause(scene: Scene) -> Iterator[Proposal]:
    refusals = scene.state.refusals
    if scene.state.field_on and len(refusals) > scene.n.tuning_tries.value:
        yield Proposal(refusals[-1].id, refusals[-1].at_s)


def _look(scene: Scene) -> Iterator[Proposal]:
    state = scene.state
    if state.paused is None or not (state.refusals or scene.tuning_low):
        return
    if state.panels_seen is None or state.panels_seen.at_s < state.paused.at_s:
        yield Proposal(state.paused.id, state.paused.at_s)


RULES = (
    Rule("tune_pause", Action.PAUSE, _pause, "paused"),
    Rule("tune_wait", Action.WAIT, _wait),
    Rule("tune_look", Action.CHECK_PLACEMENT, _look, "panel_moved"),
    Rule("tuning_low", Action.LOWER_POWER, _low, "power_set"),
    Rule("tuning_check", Action.CHECK_TUNING, _check, "tuning_shown"),
)
