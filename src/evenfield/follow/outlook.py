"""What is believed now and what comes next, with intervals: from the followed ensemble to plain numbers.

An interval is the middle 50 % or 90 % of the members. Looking ahead runs a share of the members on with
larger steps; nothing of it is kept, so that looking changes nothing (see `follow.follower`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.dose import cem43, minutes_in_band
from evenfield.follow.follower import (
    DISAGREES_S,
    Disagreement,
    Following,
    absorbed_w,
    advanced,
    state_of,
    temperatures,
)
from evenfield.follow.members import (
    absorbed_share,
    heat_parameters,
    raw_zones,
    thermometer_k,
    zone_temperatures,
)
from evenfield.follow.model import FollowModel
from evenfield.heat.reduced import HeatParameters, ReducedState

Floats = NDArray[np.float64]
QUANTILES = (0.5, 0.25, 0.75, 0.05, 0.95)
AHEAD_MINUTES = 15
EVERY, PAST_EVERY = 4, 2
"""Every so many members look ahead, and back on what was so far."""
AHEAD_STEP_S = 60.0


@dataclass(frozen=True)
class Interval:
    """A number with its middle half and middle nine tenths: `low90 <= low50 <= value <= high50 <= high90`."""

    value: float
    low50: float
    high50: float
    low90: float
    high90: float


@dataclass(frozen=True)
class ZoneOutlook:
    """One zone now. Means and hottest points in °C; the skin's mean is that of its surface.

    `minutes_in_band` of the fat's mean so far; `cem43_skin`, `cem43_fat` of the hottest point so far, min.
    `minutes_to_band`: until the fat's mean reaches the band if nothing changes, inf where it does not within
    `AHEAD_MINUTES`, 0 if it is there or above. `pause_left_s`: how long the field may stay off before the
    fat's mean falls below the band, None unless most members have it at the band's
    low end or above; inf beyond `AHEAD_MINUTES`.
    """

    zone: str
    skin_mean_c: Interval
    skin_hottest_c: Interval
    fat_mean_c: Interval
    fat_hottest_c: Interval
    minutes_in_band: Interval
    cem43_skin: Interval
    cem43_fat: Interval
    minutes_to_band: Interval
    pause_left_s: Interval | None
    disagrees: bool


@dataclass(frozen=True)
class Curves:
    """Curves of means and hottest points over the whole footprint: `minutes` (nt,); the others (nt, 5) as
    `QUANTILES`: skin mean, skin hottest, fat mean, fat hottest, °C."""

    minutes: Floats
    skin_mean_c: Floats
    skin_hottest_c: Floats
    fat_mean_c: Floats
    fat_hottest_c: Floats


@dataclass(frozen=True)
class LiveEstimate:
    """Everything believed at `at_s` (seconds since the visit's origin).

    `so_far`, `ahead`: curves up to now and, if nothing changes, from now on. `pause_left_s`,
    `minutes_to_band`: as in `ZoneOutlook`, of the footprint's mean fat. `disagreements`: of the last minutes,
    in words. `learned`: share of the set power absorbed, factors on blood flow and exchange, thermometer's
    offset in K.
    """

    at_s: float
    zones: tuple[ZoneOutlook, ...]
    so_far: Curves
    ahead: Curves
    minutes_to_band: Interval
    pause_left_s: Interval | None
    disagreements: tuple[str, ...]
    unused: tuple[str, ...]
    learned: dict[str, Interval]


def look(model: FollowModel, following: Following, now_s: float) -> LiveEstimate:
    """What is believed at `now_s` (not before `following.at_s`) and what comes next."""
    now = advanced(model, following, max(now_s, following.at_s))
    present = temperatures(model, now)
    past = zone_temperatures(model, now.past[:, ::PAST_EVERY], now.xi[::PAST_EVERY])
    past_s = np.array(now.ticks_s)
    if now.at_s > past_s[-1]:
        past, past_s = np.concatenate([past, present[None, ::PAST_EVERY]]), np.append(past_s, now.at_s)
    ahead, paused = _runs(model, now)
    low, area = model.band_c[0], model.area
    fat, ahead_fat, paused_fat = present[:, 2], ahead[:, :, 2], paused[:, :, 2]
    kinds = intervals(present)
    in_band, dose = _doses(model, past_s / 60.0, past)
    in_band_each, dose_each = intervals(in_band), intervals(dose)
    to_band = intervals(_until(ahead_fat, low, rising=True))
    pause_left = intervals(60.0 * _until(paused_fat, low, rising=False))
    warm = np.mean(fat >= low, axis=0) > 0.5
    doubted = {d.zone for d in _recent(now)}
    zones = tuple(
        ZoneOutlook(
            zone=zone.label,
            skin_mean_c=_one(kinds[:, 0, n]),
            skin_hottest_c=_one(kinds[:, 1, n]),
            fat_mean_c=_one(kinds[:, 2, n]),
            fat_hottest_c=_one(kinds[:, 3, n]),
            minutes_in_band=_one(in_band_each[:, n]),
            cem43_skin=_one(dose_each[:, 0, n]),
            cem43_fat=_one(dose_each[:, 1, n]),
            minutes_to_band=_one(to_band[:, n]),
            pause_left_s=_one(pause_left[:, n]) if warm[n] else None,
            disagrees=zone.label in doubted,
        )
        for n, zone in enumerate(model.zones)
    )
    left = _one(intervals(60.0 * _until(paused_fat @ area, low, rising=False)))
    return LiveEstimate(
        at_s=now.at_s,
        zones=zones,
        so_far=_curves(past_s / 60.0, past, area),
        ahead=_curves(now.at_s / 60.0 + np.arange(AHEAD_MINUTES + 1.0), ahead, area),
        minutes_to_band=_one(intervals(_until(ahead_fat @ area, low, rising=True))),
        pause_left_s=left if float(np.mean(fat @ area >= low)) > 0.5 else None,
        disagreements=tuple(str(d) for d in _recent(now)),
        unused=now.unused,
        learned=_learned(model, now),
    )


def intervals(values: Floats) -> Floats:
    """`QUANTILES` of members' values (members, ...), shape (5, ...); each is some member's own value, so that
    infinite ones may stand at the ends."""
    order = np.sort(values, axis=0)
    place = np.ceil(np.array(QUANTILES) * len(values)).astype(int) - 1
    return np.asarray(order[place])


def _one(quantiles: Floats) -> Interval:
    return Interval(*(float(q) for q in quantiles))


def _recent(now: Following) -> list[Disagreement]:
    return [d for d in now.disagreements if d.at_s > now.at_s - DISAGREES_S]


def _runs(model: FollowModel, now: Following) -> tuple[Floats, Floats]:
    """Temperatures from now on at each minute, the field as it is and off, (minutes + 1, some members, 4,
    zones) each."""
    some = np.arange(0, now.members, EVERY)
    both, count = np.concatenate([some, some]), some.size
    p = state_of(model, now).parameters
    chosen = HeatParameters(p.flow[both], p.exchange[both], p.arterial_c[both], p.source[both])
    state = ReducedState(now.coordinates[both], chosen, now.at_s)
    watts = absorbed_w(model, now)[both]
    watts[count:] = 0.0
    raw = [raw_zones(model, state)]
    for _ in range(AHEAD_MINUTES):
        state = model.heat.advance(state, watts, 60.0, step_s=AHEAD_STEP_S)
        raw.append(raw_zones(model, state))
    out = zone_temperatures(model, np.stack(raw), now.xi[both])
    return out[:, :count], out[:, count:]


def _doses(model: FollowModel, minutes: Floats, past: Floats) -> tuple[Floats, Floats]:
    """Minutes of mean fat in the band (members, zones); CEM43 of skin's and fat's hottest (members, 2,
    zones)."""
    if minutes.size < 2:
        members, _, zones = past.shape[1:]
        return np.zeros((members, zones)), np.zeros((members, 2, zones))
    return minutes_in_band(minutes, past[:, :, 2], *model.band_c), cem43(minutes, past[:, :, [1, 3]])


def _until(series: Floats, level: float, *, rising: bool) -> Floats:
    """Minutes until a series (minutes, ...) is at a level or above, or if not `rising` below it, straight
    between minutes; inf if it never is."""
    there = (series >= level) == rising
    first = there.argmax(axis=0)
    at, before = first[None], np.maximum(first - 1, 0)[None]
    after_c, before_c = np.take_along_axis(series, at, 0)[0], np.take_along_axis(series, before, 0)[0]
    step = after_c - before_c
    share = (level - before_c) / np.where(step == 0.0, 1.0, step)
    found = np.where(first == 0, 0.0, before[0] + np.clip(share, 0.0, 1.0))
    return np.where(there.any(axis=0), found, np.inf)


def _curves(minutes: Floats, temperature_c: Floats, area: Floats) -> Curves:
    """Curves of (nt, members, 4, zones) over the footprint: means by area, hottest of all zones."""

    def quantiles(values: Floats) -> Floats:
        return intervals(values.T).T

    return Curves(
        minutes,
        quantiles(temperature_c[:, :, 0] @ area),
        quantiles(temperature_c[:, :, 1].max(axis=2)),
        quantiles(temperature_c[:, :, 2] @ area),
        quantiles(temperature_c[:, :, 3].max(axis=2)),
    )


def _learned(model: FollowModel, now: Following) -> dict[str, Interval]:
    p = heat_parameters(model, now.xi, now.shift)
    flow = {name: p.flow[:, n] for n, name in enumerate(model.heat.layers)}
    return {
        "absorbed_share": _one(intervals(absorbed_share(model, now.xi, now.tuning_percent))),
        **{f"{layer}_flow": _one(intervals(flow[layer])) for layer in ("fat", "muscle", "skin")},
        "exchange": _one(intervals(p.exchange)),
        "thermometer_k": _one(intervals(thermometer_k(model, now.xi))),
    }
