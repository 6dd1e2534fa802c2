"""Following a visit: the ensemble carried from entry to entry, the same numbers whenever it is rebuilt.

The ensemble advances on whole ticks of the visit's clock and at entries, never at the moment of a question:
asking more or less often changes nothing, and a visit rebuilt from its entries gives the same digits.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import floor

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from evenfield.follow.filter import Update, update, widened
from evenfield.follow.inputs import (
    ComfortSaid,
    FieldOff,
    FieldOn,
    FollowError,
    HotSpotSaid,
    Input,
    PanelShift,
    PowerNow,
    SkinRead,
    TuningNow,
)
from evenfield.follow.members import (
    absorbed_share,
    columns,
    drawn,
    heat_parameters,
    raw_zones,
    thermometer_k,
    zone_temperatures,
)
from evenfield.follow.model import FollowModel
from evenfield.heat.reduced import ReducedState

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

MEMBERS = 128
"""Of a visit with up to three panels; more panels need more (see `begin`)."""
TICK_S = 60.0
STEP_S = 30.0
"""Longest step of the reduced model."""
BELIEVED = 3.5
"""An innovation of more expected spreads than this is beyond belief (1 in 2,150 if all is as assumed)."""
WINDOW, WINDOW_CHANCE = 8, 0.9995
"""So many last readings together are beyond belief where their squared surprises are rarer than this."""
MOST_WIDER, WIDEST_K = 2.0, 3.0
"""A surprise widens by at most this factor, and a zone's skin to at most this spread."""
DISAGREES_S = 600.0
"""A disagreement is shown for so long after the last reading that disagreed."""
FELT_C, FELT_PER_POINT_C, FELT_SD_C, COMFORTABLE = 45.0, 0.5, 2.5, 8.0
"""Comfort below `COMFORTABLE`: the hottest skin is taken as FELT − PER_POINT · score, give or take SD (label
A; heat pain from 43 to 44 °C with a wide spread between people)."""
SPOT_K, SPOT_SD_K = 1.5, 1.5
"""A place felt hotter than its surroundings: its hottest skin above the other zones', give or take (label
A)."""


@dataclass(frozen=True)
class Disagreement:
    """A reading beyond belief: when, where, read and expected, °C, and by how many expected spreads."""

    at_s: float
    zone: str
    read_c: float
    expected_c: float
    surprise: float

    def __str__(self) -> str:
        side = "above" if self.read_c > self.expected_c else "below"
        return (
            f"{self.zone}: skin read at {self.read_c:.1f} °C, {abs(self.read_c - self.expected_c):.1f} °C "
            f"{side} what was expected and more than the estimate can explain; it has been widened"
        )


@dataclass(frozen=True)
class Following:
    """A visit followed up to `at_s`. Arrays are never changed in place.

    `coordinates` (members, r) of the heat model; `xi` (members, columns) as in `follow.members`; `shift`
    (panels, 3) known moves; `ticks_s` (k,) and `past` (k, members, 4, zones): the heat model's zones at every
    tick so far, kept in step with what was learned later. `surprises`: of the last readings.
    """

    at_s: float
    coordinates: Floats
    xi: Floats
    shift: Floats
    on: bool
    watts: float
    tuning_percent: float | None
    ticks_s: tuple[float, ...]
    past: Singles
    surprises: tuple[float, ...] = ()
    disagreements: tuple[Disagreement, ...] = ()
    unused: tuple[str, ...] = ()

    @property
    def members(self) -> int:
        """How many."""
        return len(self.xi)


def begin(model: FollowModel, rng: np.random.Generator, members: int | None = None) -> Following:
    """Time 0: every member at its own baseline, field off. `members`: `MEMBERS`, or as many as there must be
    more than uncertain quantities."""
    count = columns(model).count
    xi = drawn(members or max(MEMBERS, count + 2), count, rng)
    shift = np.zeros((len(model.panels), 3))
    state = model.heat.start(heat_parameters(model, xi, shift))
    raw = raw_zones(model, state)
    return Following(0.0, state.coordinates, xi, shift, False, 0.0, None, (0.0,), raw[None])


def follow(
    model: FollowModel,
    inputs: Iterable[Input],
    now_s: float,
    rng: np.random.Generator,
    members: int | None = None,
) -> Following:
    """A visit rebuilt from all its entries up to `now_s`, in order of time (equal times as given)."""
    following = begin(model, rng, members)
    for entry in sorted(inputs, key=lambda entry: entry.at_s):
        if entry.at_s <= now_s:
            following = take(model, following, entry)
    return settled(model, following, now_s)


def settled(model: FollowModel, following: Following, now_s: float) -> Following:
    """Advanced over the whole ticks up to `now_s`; later entries then find the same numbers as without it."""
    last = floor(now_s / TICK_S + 1e-9) * TICK_S
    return following if last <= following.at_s else advanced(model, following, last)


def advanced(model: FollowModel, following: Following, to_s: float) -> Following:
    """Advanced to a time, tick by tick. Keep the result only if `to_s` is a tick or an entry's time."""
    while following.at_s < to_s - 1e-9:
        tick = (floor(following.at_s / TICK_S + 1e-9) + 1) * TICK_S
        following = _leg(model, following, min(tick, to_s))
    return following


def state_of(model: FollowModel, following: Following) -> ReducedState:
    """The heat model's state."""
    fat = slice(1, None, 2)
    start = model.heat.zone_start_c[fat]
    now = start + following.coordinates @ model.heat.zone_shapes[fat].T
    warmer_k = (now - start) @ model.area
    parameters = heat_parameters(model, following.xi, following.shift, warmer_k)
    return ReducedState(following.coordinates, parameters, following.at_s)


def absorbed_w(model: FollowModel, following: Following) -> Floats:
    """Power that each member absorbs now, W, (members,)."""
    share = absorbed_share(model, following.xi, following.tuning_percent)
    return share * (following.watts if following.on else 0.0)


def temperatures(model: FollowModel, following: Following) -> Floats:
    """Skin mean, skin hottest, fat mean, fat hottest of every zone, °C, (members, 4, zones)."""
    return zone_temperatures(model, raw_zones(model, state_of(model, following)), following.xi)


def past_temperatures(model: FollowModel, following: Following) -> Floats:
    """The same at every tick so far, (ticks, members, 4, zones)."""
    return zone_temperatures(model, following.past, following.xi)


def _leg(model: FollowModel, following: Following, to_s: float) -> Following:
    """To a time no later than the next tick."""
    seconds = to_s - following.at_s
    state = model.heat.advance(
        state_of(model, following), absorbed_w(model, following), seconds, step_s=STEP_S
    )
    xi = _drifted(model, following.xi, seconds)
    after = replace(following, at_s=to_s, coordinates=state.coordinates, xi=xi)
    if abs(to_s / TICK_S - round(to_s / TICK_S)) > 1e-9:
        return after
    raw = raw_zones(model, state)
    return replace(
        after, ticks_s=(*following.ticks_s, to_s), past=np.concatenate([following.past, raw[None]])
    )


def _drifted(model: FollowModel, xi: Floats, seconds: float) -> Floats:
    """What was learned is slowly forgotten: variances grow by seconds/forget_s, never beyond the prior's.

    The thermometer's offset and the other fat do not drift.
    """
    variance = xi.var(axis=0, ddof=1)
    wanted = np.maximum(variance, np.minimum(1.0, variance + seconds / model.prior.forget_s.value))
    factor = np.sqrt(wanted / np.maximum(variance, 1e-6))
    at = columns(model)
    factor[[at.whole("thermometer"), at.whole("other_fat")]] = 1.0
    return widened(xi, factor)


def take(model: FollowModel, following: Following, entry: Input) -> Following:
    """One entry taken in, at its time. An unknown zone or panel is kept in `unused` as a sentence.

    Raises `FollowError` for an entry older than what was taken already: rebuild the visit then.
    """
    if entry.at_s < following.at_s - 1e-9:
        raise FollowError(
            f"an entry at {entry.at_s:g} s came after the visit was followed to {following.at_s:g} s; "
            "rebuild from all entries in order"
        )
    now = advanced(model, following, entry.at_s)
    match entry:
        case FieldOn():
            return replace(now, on=True)
        case FieldOff():
            return replace(now, on=False)
        case PowerNow(watts=watts):
            return replace(now, watts=watts)
        case TuningNow(percent=percent):
            return replace(now, tuning_percent=percent)
        case PanelShift():
            return _moved(model, now, entry)
        case SkinRead():
            return _read(model, now, entry)
        case ComfortSaid():
            return _comfort(model, now, entry)
        case HotSpotSaid():
            return _hot_spot(model, now, entry)


def _unused(following: Following, sentence: str) -> Following:
    return replace(following, unused=(*following.unused, sentence))


def _moved(model: FollowModel, following: Following, entry: PanelShift) -> Following:
    """The known move, and its own error as more spread."""
    number = model.panel_number(entry.panel)
    if number is None:
        return _unused(following, f'no panel "{entry.panel}" in the plan: its move was not used')
    panel, at = model.panels[number], columns(model)
    sign = -1.0 if entry.part.startswith("falling") else 1.0
    if entry.part == "whole":
        by = np.array([entry.by_m, 0.0, 0.0])
    elif entry.part.endswith("angle"):
        by = np.array([0.5 * entry.by_m, sign * entry.by_m / panel.width_m, 0.0])
    else:
        by = np.array([0.5 * entry.by_m, 0.0, sign * entry.by_m / panel.length_m])
    spread = np.array([model.prior.gap_m.value, model.prior.tilt_rad.value, model.prior.tilt_rad.value])
    where = at.panel(number)
    xi = following.xi.copy()
    variance = xi[:, where].var(axis=0, ddof=1)
    error = (model.prior.move_share.value * by / spread) ** 2
    xi[:, where] = widened(xi[:, where], np.sqrt(1.0 + error / np.maximum(variance, 1e-6)))
    shift = following.shift.copy()
    shift[number] += by
    return replace(following, xi=xi, shift=shift)


def _read(model: FollowModel, following: Following, entry: SkinRead) -> Following:
    zone = model.zone_number(entry.zone)
    if zone is None:
        return _unused(following, f'no zone "{entry.zone}" in the plan: a skin reading was not used')
    skin = temperatures(model, following)[:, 0, zone]
    rise = max(float(skin.mean()) - float(model.heat.zone_start_c[2 * zone]), 0.0)
    spot = float(model.spot_k[zone] + model.spot_share[zone] * rise)  # the same spots may stand out in both
    variance = entry.error_k**2 + spot**2
    predicted = skin + thermometer_k(model, following.xi)
    found = update(predicted, entry.celsius, variance, most=BELIEVED)
    after = _applied(model, following, found, zone)
    surprises = (*following.surprises, found.surprise)[-WINDOW:]
    single = abs(found.surprise) > BELIEVED
    together = len(surprises) == WINDOW and sum(s * s for s in surprises) > chi2.ppf(WINDOW_CHANCE, WINDOW)
    if not (single or together):
        return replace(after, surprises=surprises)
    said = Disagreement(entry.at_s, entry.zone, entry.celsius, float(predicted.mean()), found.surprise)
    if single:
        wider = min(abs(found.surprise) / BELIEVED, MOST_WIDER)
        after = _widened_zone(model, after, zone, wider * float(skin.std(ddof=1)))
    if together:
        wider = min(float(np.sqrt(sum(s * s for s in surprises) / WINDOW)), MOST_WIDER)
        after = _widened_all(model, after, wider)
        surprises = ()
    return replace(after, surprises=surprises, disagreements=(*after.disagreements, said))


def _taper(model: FollowModel, zone: int | None) -> Floats:
    """Localisation: a zone's reading speaks of the whole and of this zone, not of another zone's own miss."""
    at = columns(model)
    taper = np.zeros(at.count)
    taper[at.common] = 1.0
    if zone is not None:
        taper[at.zone(zone)] = 1.0
    return taper


def _applied(model: FollowModel, following: Following, found: Update, zone: int | None) -> Following:
    k, members = following.past.shape[:2]
    flat = np.swapaxes(following.past, 0, 1).reshape(members, -1)
    past = found.on(flat).reshape(members, k, *following.past.shape[2:])
    return replace(
        following,
        coordinates=found.on(following.coordinates),
        xi=found.on(following.xi, _taper(model, zone)),
        past=np.ascontiguousarray(np.swapaxes(past, 0, 1)),
    )


def _widened_zone(model: FollowModel, following: Following, zone: int, spread_k: float) -> Following:
    """The zone's own misses widened until its skin spreads by `spread_k`, at most `WIDEST_K`."""
    skin = temperatures(model, following)[:, 0, zone]
    now = float(skin.std(ddof=1))
    wanted = max(now, min(spread_k, WIDEST_K))
    where = columns(model).zone(zone)
    xi = following.xi.copy()
    # what the zone's own misses add to the spread now, from the skin without them
    without = xi.copy()
    without[:, where] = xi[:, where].mean(axis=0)
    own = now**2 - float(temperatures(model, replace(following, xi=without))[:, 0, zone].var(ddof=1))
    least = (0.1 * model.prior.zone_offset_k.value) ** 2
    factor = np.sqrt(1.0 + (wanted**2 - now**2) / max(own, least))
    xi[:, where] = widened(xi[:, where], factor)
    return replace(following, xi=xi)


def _widened_all(model: FollowModel, following: Following, factor: float) -> Following:
    """Everything widened: temperatures, past ones too, until skin spreads by `WIDEST_K`; and what was
    learned, at most to the prior."""
    now = float(temperatures(model, following)[:, 0].std(axis=0, ddof=1).mean())
    factor = max(1.0, min(factor, WIDEST_K / now))
    spread = following.xi.std(axis=0, ddof=1)
    learned = np.clip(1.0 / np.maximum(spread, 1e-6), 1.0, factor)
    k, members = following.past.shape[:2]
    flat = np.swapaxes(following.past, 0, 1).reshape(members, -1)
    past = widened(flat, factor).reshape(members, k, *following.past.shape[2:])
    return replace(
        following,
        coordinates=widened(following.coordinates, factor),
        xi=widened(following.xi, learned),
        past=np.ascontiguousarray(np.swapaxes(past, 0, 1)),
    )


def _comfort(model: FollowModel, following: Following, entry: ComfortSaid) -> Following:
    """Discomfort speaks, weakly, of hot skin somewhere. Comfort says nothing, nor does discomfort where the
    skin is thought hotter already."""
    if entry.score >= COMFORTABLE:
        return following
    hottest = temperatures(model, following)[:, 1].max(axis=1)
    felt = FELT_C - FELT_PER_POINT_C * entry.score
    if felt <= hottest.mean():
        return following
    return _applied(model, following, update(hottest, felt, FELT_SD_C**2), None)


def _hot_spot(model: FollowModel, following: Following, entry: HotSpotSaid) -> Following:
    """Speaks, weakly, of skin there hotter than that of the other zones."""
    at = [
        n
        for n, zone in enumerate(model.zones)
        if entry.zone in (None, zone.label) and entry.panel in (None, zone.panel)
    ]
    if not at:
        return _unused(
            following, f'no zone "{entry.zone or entry.panel}" in the plan: a hot spot was not used'
        )
    hottest = temperatures(model, following)[:, 1]
    others = np.setdiff1d(np.arange(len(model.zones)), at)
    if others.size == 0:
        others = np.arange(len(model.zones))
    above = hottest[:, at].max(axis=1) - hottest[:, others].mean(axis=1)
    if above.mean() >= SPOT_K:
        return following
    found = update(above, SPOT_K, SPOT_SD_K**2)
    return _applied(model, following, found, at[0] if len(at) == 1 else None)
