"""Rules on power: the slow raise to the starting level, time for heat to even out, considering more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from evenfield.conduct.actions import Action
from evenfield.conduct.rules.scene import Proposal, Rule, Scene
from evenfield.conduct.state import latest


def _step(scene: Scene) -> Iterator[Proposal]:
    """One more step; not while a hot spot that has gone is given its time and the panel its way back."""
    state = scene.state
    if state.reached is not None or state.power_w >= state.target_w or not scene.calm or state.spots:
        return
    anchor = latest((state.started, state.resumed, state.power))
    if anchor is None:
        return
    interval_s = 0.0 if anchor == state.started else scene.n.raise_interval_s.value
    next_w = min(state.power_w + scene.n.raise_step_w.value, state.target_w, scene.n.power_most_w.value)
    if next_w > state.power_w:
        yield Proposal(
            anchor.id,
            anchor.at_s + interval_s,
            values={"next_w": f"{next_w:g}", "target_w": f"{state.target_w:g}"},
            suggested=next_w,
        )


def _fast(scene: Scene) -> Iterator[Proposal]:
    state = scene.state
    if not state.field_on or state.power is None or state.raised_from is None:
        return
    if state.last_raise is None or state.last_raise.id != state.power.id:
        return
    by_w, step_w = state.power.value - state.raised_from.value, scene.n.raise_step_w.value
    if by_w > step_w + 1e-9:
        at_s = state.power.at_s
        slow_s = scene.n.raise_interval_s.value * by_w / step_w
        values = {"from_w": f"{state.raised_from.value:g}", "to_w": f"{state.power.value:g}"}
        yield Proposal(state.power.id, at_s, until_s=at_s + slow_s, due_s=at_s + slow_s, values=values)


def _early(scene: Scene) -> Iterator[Proposal]:
    state = scene.state
    raised, before = state.even_from, state.even_before
    if not state.field_on or raised is None or before is None or raised != state.last_raise:
        return
    earliest_s = 60 * scene.n.increase_earliest_minutes.value
    if raised.at_s - before.at_s < earliest_s:
        until_s = raised.at_s + earliest_s
        waited = f"{(raised.at_s - before.at_s) / 60:.1f}"
        yield Proposal(raised.id, raised.at_s, until_s=until_s, due_s=until_s, values={"after": waited})


def _even_out(scene: Scene) -> Iterator[Proposal]:
    even = scene.state.even_from
    if scene.calm and even is not None:
        until_s = even.at_s + 60 * scene.n.increase_consider_minutes.value
        yield Proposal(even.id, even.at_s, until_s=until_s, due_s=until_s)


def _may_rise(scene: Scene) -> Iterator[Proposal]:
    """More power may be considered: heat had its time, tuning and comfort are known and good since then."""
    state, n = scene.state, scene.n
    even, comfort = state.even_from, state.comfort
    if not scene.calm or even is None or state.spots or state.tuning is None or state.tuning_due is not None:
        return
    if comfort is None or comfort.at_s < even.at_s or comfort.value < n.comfort_enough.value:
        return
    near_c = n.skin_limit_c.value - n.skin_margin_c.value
    if any(reading.value >= near_c for reading in state.readings.values()):
        return
    next_w = state.power_w + n.raise_step_w.value
    if next_w <= n.power_most_w.value:
        show_s = even.at_s + 60 * n.increase_consider_minutes.value
        yield Proposal(even.id, show_s, values={"next_w": f"{next_w:g}"}, suggested=next_w)


def _consider(scene: Scene) -> Iterator[Proposal]:
    """Without an estimate. One that has only grown old is none to go by."""
    if scene.stale is None and (scene.estimate is None or not scene.estimate.zones):
        yield from _may_rise(scene)


def _consider_estimated(scene: Scene) -> Iterator[Proposal]:
    """As `_consider`, and the estimate shows fat below the band with neither fat nor skin near its limit."""
    n = scene.n
    zones = () if scene.estimate is None else scene.estimate.zones
    if not zones or any(zone.disagrees for zone in zones):
        return
    low_c, high_c = scene.band_c
    if any(zone.fat_hottest_c.high >= high_c for zone in zones):
        return
    if any(zone.skin_hottest_c.high >= n.skin_limit_c.value - n.skin_margin_c.value for zone in zones):
        return
    below = sum(zone.fat_mean_c.high < low_c for zone in zones)
    if below:
        for proposal in _may_rise(scene):
            counts = {"below": str(below), "zones": str(len(zones)), "band_low": f"{low_c:g}"}
            yield replace(proposal, values={**proposal.values, **counts})


def _above_most(scene: Scene) -> Iterator[Proposal]:
    power = scene.state.power
    if scene.may_be_on and power is not None and power.value > scene.n.power_most_w.value:
        yield Proposal(power.id, power.at_s, values={"power_w": f"{power.value:g}"})


RULES = (
    Rule("power_above_most", Action.LOWER_POWER, _above_most, "power_set"),
    Rule("increase_early", Action.HOLD, _early),
    Rule("raised_fast", Action.HOLD, _fast),
    Rule("let_even_out", Action.HOLD, _even_out),
    Rule("raise_step", Action.RAISE_POWER, _step, "power_set"),
    Rule("consider_raise", Action.RAISE_POWER, _consider, "power_set"),
    Rule("consider_raise_estimated", Action.RAISE_POWER, _consider_estimated, "power_set"),
)
