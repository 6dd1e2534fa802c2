"""What the rules of conduct are given of an estimate, from the plain data that is shown."""

from typing import Any

from evenfield.conduct.estimate import Estimate, Likely, ZoneEstimate


def for_conduct(told: dict[str, Any] | None) -> Estimate | None:
    """What the rules are given, from the plain data."""
    if not told:
        return None
    zones = tuple(
        ZoneEstimate(
            zone=zone["zone"],
            skin_mean_c=_likely(zone["skin_mean_c"]),
            skin_hottest_c=_likely(zone["skin_hottest_c"]),
            fat_mean_c=_likely(zone["fat_mean_c"]),
            fat_hottest_c=_likely(zone["fat_hottest_c"]),
            disagrees=zone["disagrees"],
        )
        for zone in told["zones"]
    )
    left = told["pause_left_s"]
    return Estimate(told["at_s"], zones, _likely(left) if left else None)


def _likely(interval: list[float | None]) -> Likely:
    value, _low50, _high50, low, high = (float("inf") if one is None else one for one in interval)
    return Likely(value, low, high)
