"""From set power to absorbed power: what the matching lets through times what of it reaches the body."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import isfinite

from evenfield.field.device import Cables, DeviceProfile
from evenfield.field.matching import Match, best_match, load_share


@dataclass(frozen=True)
class Absorbed:
    """Share of the set power that the body takes up: estimate with lowest and highest (0 to 1).

    `low` and `high` span the combinations of low and high values of the profile's uncertain numbers; they are
    not a percentage of cases. `match`: the circuit at middle values. `tuning_percent`: what was used for
    the power let through, shown by the device or computed.
    """

    low: float
    mid: float
    high: float
    tuning_percent: float
    match: Match


def absorbed_fraction(
    profile: DeviceProfile,
    admittance_s: complex,
    cables: Cables = Cables.SPREAD,
    shown_tuning_percent: float | None = None,
) -> Absorbed:
    """Estimated absorbed share of set power = tuning/100 · share of the load · (1 − share lost elsewhere).

    With the tuning the device shows, only the losses behind the matching are uncertain; without it the
    computed tuning is used. Raises ValueError for a tuning outside 0 to 100 or a load that is no lossy
    capacitor.
    """
    if shown_tuning_percent is not None:
        check_tuning(shown_tuning_percent)
    match = best_match(profile.circuit(cables), admittance_s)
    tuning = match.tuning_percent if shown_tuning_percent is None else shown_tuning_percent
    mid = tuning / 100.0 * match.load_share * (1.0 - profile.elsewhere.value)
    low = high = mid
    for values in _corners(profile, cables):
        circuit = profile.circuit(cables, **values)
        if shown_tuning_percent is None:
            other = best_match(circuit, admittance_s)
            reaching = other.tuning_percent / 100.0 * other.load_share
        else:
            reaching = tuning / 100.0 * load_share(circuit, admittance_s)
        low = min(low, reaching * (1.0 - profile.elsewhere.high))
        high = max(high, reaching * (1.0 - profile.elsewhere.low))
    return Absorbed(low=low, mid=mid, high=high, tuning_percent=tuning, match=match)


def check_set_power(watts: float) -> None:
    """Raise ValueError unless a set power is above 0 W: nothing is tuned without."""
    if not (isfinite(watts) and watts > 0.0):
        raise ValueError(f"set power is {watts:g} W; allowed: above 0 W, since nothing is tuned without")


def check_tuning(percent: float) -> None:
    """Raise ValueError unless a tuning lies within 0 to 100 %."""
    if not 0.0 <= percent <= 100.0:
        raise ValueError(f"shown tuning is {percent:g} %; allowed: 0 to 100 %")


def _corners(profile: DeviceProfile, cables: Cables) -> Iterator[dict[str, float]]:
    uncertain = {
        "coil_q": profile.coil_q,
        "length_m": profile.length_m,
        "loss_tangent": profile.loss_tangent,
        "spacing_m": profile.spacing_m[cables],
    }
    for ends in product(*((q.low, q.high) for q in uncertain.values())):
        yield dict(zip(uncertain, ends, strict=True))
