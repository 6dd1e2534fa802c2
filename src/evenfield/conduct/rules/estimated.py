"""Rules that watch the live estimate. It is an estimate: each names its value and the range it lies in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import inf

from evenfield.conduct.actions import Action
from evenfield.conduct.estimate import Likely, ZoneEstimate
from evenfield.conduct.rules.scene import Proposal, Rule, Scene
from evenfield.conduct.state import Place, latest


def _worst(
    scene: Scene,
    rule: str,
    number: Callable[[ZoneEstimate], Likely],
    hot: Callable[[Likely], bool],
    *,
    asks_reading: bool = False,
    **more: str,
) -> Iterator[Proposal]:
    """One proposal for the hottest of the zones for which ``hot`` holds; a reading there may answer it."""
    found = [zone for zone in scene.warning_zones if hot(number(zone))]
    if found:
        zone = max(found, key=lambda z: (number(z).value, z.zone))
        likely = number(zone)
        read = scene.state.readings.get(zone.zone) if asks_reading else None
        trigger, show_s, quiet_until_s = scene.repeated(rule, read)
        yield Proposal(
            trigger,
            show_s,
            quiet_until_s=quiet_until_s,
            place=Place(zone=zone.zone),
            values={
                "zone": zone.zone,
                "likely": f"{likely.value:.1f}",
                "low": f"{likely.low:.1f}",
                "high": f"{likely.high:.1f}",
                **more,
            },
        )


def _skin(zone: ZoneEstimate) -> Likely:
    return zone.skin_hottest_c


def _skin_over(scene: Scene) -> Iterator[Proposal]:
    limit = scene.n.skin_limit_c.value
    yield from _worst(scene, "skin_over_estimated", _skin, lambda likely: likely.value >= limit)


def _skin_near(scene: Scene) -> Iterator[Proposal]:
    """Not over the limit by the estimate, but its range reaches to within the margin of it."""
    limit = scene.n.skin_limit_c.value
    if all(_skin(zone).value < limit for zone in scene.warning_zones):
        near = limit - scene.n.skin_margin_c.value
        yield from _worst(
            scene, "skin_near_estimated", _skin, lambda likely: likely.high >= near, asks_reading=True
        )


def _fat_over(scene: Scene) -> Iterator[Proposal]:
    high = scene.band_c[1]
    yield from _worst(
        scene,
        "fat_over_estimated",
        lambda zone: zone.fat_hottest_c,
        lambda likely: likely.value > high,
        band_high=f"{high:g}",
    )


def _disagree(scene: Scene) -> Iterator[Proposal]:
    """Asked once for each reading, until it was repeated soon after; then it only keeps heat away."""
    names = sorted(zone.zone for zone in scene.warning_zones if zone.disagrees)
    if not names:
        return
    soon_s = 60 * scene.n.estimate_repeat_minutes.value
    last = {name: scene.state.readings[name] for name in names if name in scene.state.readings}
    once = [
        name
        for name in names
        if name not in last
        or (before_s := last[name].before_s) is None
        or last[name].at_s - before_s > soon_s
    ]
    trigger = latest(last[name] for name in once or names if name in last)
    at_s = 0.0 if trigger is None else trigger.at_s
    yield Proposal(
        "visit" if trigger is None else trigger.id,
        at_s,
        quiet_until_s=at_s if once else inf,
        place=Place(zone=(once or names)[0]),
        values={"zone": ", ".join(once or names)},
    )


RULES = (
    Rule("skin_over_estimated", Action.LOWER_POWER, _skin_over, "power_set"),
    Rule("fat_over_estimated", Action.LOWER_POWER, _fat_over, "power_set"),
    Rule("skin_near_estimated", Action.ADD_NO_HEAT, _skin_near, "skin_reading"),
    Rule("disagree", Action.ADD_NO_HEAT, _disagree, "skin_reading"),
)
