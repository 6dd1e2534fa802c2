"""Rules that watch the live estimate. It is an estimate: each names its value and the range it lies in."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from evenfield.conduct.actions import Action
from evenfield.conduct.estimate import Likely, ZoneEstimate
from evenfield.conduct.rules.scene import Proposal, Rule, Scene
from evenfield.conduct.state import Place


def _worst(
    scene: Scene, rule: str, number: Callable[[ZoneEstimate], Likely], hot: Callable[[Likely], bool]
) -> Iterator[Proposal]:
    """One proposal for the hottest of the zones for which ``hot`` holds."""
    zones = () if scene.estimate is None or not scene.state.field_on else scene.estimate.zones
    found = [zone for zone in zones if hot(number(zone))]
    if found:
        zone = max(found, key=lambda z: (number(z).value, z.zone))
        likely = number(zone)
        trigger, show_s, quiet_until_s = scene.repeated(rule)
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
    zones = () if scene.estimate is None else scene.estimate.zones
    if all(_skin(zone).value < limit for zone in zones):
        near = limit - scene.n.skin_margin_c.value
        yield from _worst(scene, "skin_near_estimated", _skin, lambda likely: likely.high >= near)


def _fat_over(scene: Scene) -> Iterator[Proposal]:
    high = scene.n.fat_band_high_c.value
    yield from _worst(
        scene, "fat_over_estimated", lambda zone: zone.fat_hottest_c, lambda likely: likely.value > high
    )


def _disagree(scene: Scene) -> Iterator[Proposal]:
    zones = () if scene.estimate is None or not scene.state.field_on else scene.estimate.zones
    names = sorted(zone.zone for zone in zones if zone.disagrees)
    if names:
        trigger, show_s, quiet_until_s = scene.repeated("disagree")
        yield Proposal(
            trigger,
            show_s,
            quiet_until_s=quiet_until_s,
            place=Place(zone=names[0]),
            values={"zone": ", ".join(names)},
        )


RULES = (
    Rule("skin_over_estimated", Action.LOWER_POWER, _skin_over, "power_set"),
    Rule("fat_over_estimated", Action.LOWER_POWER, _fat_over, "power_set"),
    Rule("skin_near_estimated", Action.HOLD, _skin_near, "skin_reading"),
    Rule("disagree", Action.HOLD, _disagree, "skin_reading"),
)
