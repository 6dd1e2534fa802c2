"""Some hundreds of members of the whole visit, and what 5, 50 and 95 % of them show.

The members come from the emulator, on the grid nested in the forecast's own. If the forecast is given, every
member is moved by the difference between it and the emulator's nominal member: temperatures by adding it,
minute by minute and zone by zone; evenness, admittance and shares of power by their ratio. So without spread
the ensemble says what the forecast says.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from evenfield.case import Case
from evenfield.dose import burn_estimate, cem43, minutes_in_band
from evenfield.forecast import Forecast, expected_tuning
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import output_times
from evenfield.heat.power import PowerCurve
from evenfield.tolerance.check import EmulatorError, compare
from evenfield.tolerance.emulator import TISSUES, Emulator, Progress, Visit
from evenfield.tolerance.emulator_build import DESIGN, TRAINING, build_emulator
from evenfield.tolerance.member import possible
from evenfield.tolerance.parallel import Runner, one_thread
from evenfield.tolerance.spread import Spread, spread_of

Floats = NDArray[np.float64]

MEMBERS, CHECKS = 512, 8
"""Members of an ensemble, and how many of them are computed in full to measure the emulator's error."""
CHUNK = 32
"""Members per task; fixed, whoever computes."""
QUANTILES = (0.05, 0.50, 0.95)


@dataclass(frozen=True)
class Ensemble:
    """`scores` (members, n_unknowns) in the order of `spread`; `visit`: their temperatures; `nominal`: those
    of the member with all scores 0, `unmoved` before it was moved to the forecast; `extra` (members, 3 +
    n_layers) as in `Emulator`; `power_end`: index of the end of power among the visit's times."""

    case: Case
    spread: Spread
    seed: int
    scores: Floats
    visit: Visit
    nominal: Visit
    unmoved: Visit
    extra: Floats
    emulator: Emulator
    error: EmulatorError | None
    design: int
    anchored: bool
    power_end: int
    seconds: dict[str, float]

    @property
    def members(self) -> int:
        return len(self.scores)

    @property
    def minutes(self) -> Floats:
        """Output times, min."""
        return self.visit.time_s / 60.0

    def of_tissue(self, tissue: str, panel: str | None = None) -> list[int]:
        """Which zones are of a tissue, and of a panel if named."""
        return [
            n
            for n, z in enumerate(self.emulator.zones)
            if z.tissue == tissue and (panel is None or z.panel == panel)
        ]

    def mean_c(self, tissue: str, panel: str | None = None) -> Floats:
        """Mean over the zones of a tissue (and panel), (members, nt)."""
        return np.asarray(self.visit.zone_mean_c[:, :, self.of_tissue(tissue, panel)].mean(axis=2))

    def results(self) -> dict[str, Floats]:
        """One number per member for each result that is one, by name, (members,)."""
        return results_of(self.case, self.visit, self.extra, self.emulator, self.power_end)


def quantiles(values: Floats, axis: int = 0) -> Floats:
    """5, 50 and 95 % of members, first axis 3; a value that a member shows, so that "never" may be among
    them."""
    return np.asarray(np.quantile(values, QUANTILES, axis=axis, method="inverted_cdf"))


def minutes_to_band(minutes: Floats, mean_c: Floats, low_c: float) -> Floats:
    """When a temperature (members, nt) first reaches `low_c`, min, linear between outputs; inf if never."""
    out = np.full(len(mean_c), np.inf)
    for n, row in enumerate(mean_c):
        reached = np.flatnonzero(row >= low_c)
        if reached.size == 0:
            continue
        i = int(reached[0])
        if i == 0:
            out[n] = minutes[0]
            continue
        share = (low_c - row[i - 1]) / (row[i] - row[i - 1])
        out[n] = minutes[i - 1] + share * (minutes[i] - minutes[i - 1])
    return out


def results_of(
    case: Case, visit: Visit, extra: Floats, emulator: Emulator, power_end: int
) -> dict[str, Floats]:
    """As `Ensemble.results`, from any members' visit."""
    minutes = visit.time_s / 60.0
    low, high = case.session.band_c
    fat = [n for n, z in enumerate(emulator.zones) if z.tissue == "fat"]
    mean_fat = visit.zone_mean_c[:, :, fat].mean(axis=2)
    out = {f"hottest_{t}_c": visit.hottest_c[:, :, n].max(axis=1) for n, t in enumerate(TISSUES)}
    for n, tissue in enumerate(("skin", "fat")):
        out[f"hottest_{tissue}_at_end_c"] = visit.hottest_c[:, power_end, n]
    out["mean_fat_at_end_c"] = mean_fat[:, power_end]
    zones = visit.zone_mean_c[:, power_end][:, fat]
    out["fat_zones_apart_at_end_k"] = zones.max(axis=1) - zones.min(axis=1)
    out["minutes_to_band"] = minutes_to_band(minutes, mean_fat, low)
    out["minutes_in_band"] = minutes_in_band(minutes, mean_fat.T, low, high)
    for n, tissue in enumerate(("skin", "fat")):
        out[f"cem43_{tissue}_min"] = cem43(minutes, visit.hottest_c[:, :, n].T)
    out["evenness"] = extra[:, 0]
    out["conductance_s"], out["susceptance_s"] = extra[:, 1], extra[:, 2]
    # by the generic circuit; a regression may leave a load without loss, which none is
    loads = np.maximum(extra[:, 1], 1e-9) + 1j * np.maximum(extra[:, 2], 1e-9)
    out["tuning_percent"] = np.array([expected_tuning(complex(y)).percent for y in loads])
    for n, layer in enumerate(emulator.layers):
        out[f"share_{layer}"] = extra[:, 3 + n]
    return out


@dataclass(frozen=True)
class ZoneSpread:
    """A zone's results, 5, 50 and 95 %: `mean_c` at the end of power, `peak_c` at any time, minutes of the
    mean in the band; dose and burn integrals of the zone's hottest temperature at each time, which is no
    less than that of any of its points."""

    mean_c: Floats
    peak_c: Floats
    minutes_in_band: Floats
    cem43: Floats
    burn: Floats
    burn_cautious: Floats


def zone_spreads(e: Ensemble) -> list[ZoneSpread]:
    """In the order of the emulator's zones."""
    low, high = e.case.session.band_c
    minutes = e.minutes
    out = []
    for n in range(len(e.emulator.zones)):
        mean, hottest = e.visit.zone_mean_c[:, :, n].T, e.visit.zone_hottest_c[:, :, n].T
        burn = burn_estimate(minutes, hottest)
        out.append(
            ZoneSpread(
                mean_c=quantiles(mean[e.power_end]),
                peak_c=quantiles(hottest.max(axis=0)),
                minutes_in_band=quantiles(minutes_in_band(minutes, mean, low, high)),
                cem43=quantiles(cem43(minutes, hottest)),
                burn=quantiles(burn.estimate),
                burn_cautious=quantiles(burn.cautious),
            )
        )
    return out


def _follow(emulator: Emulator, curve: PowerCurve, time_s: Floats, scores: Floats) -> tuple[Visit, Floats]:
    return emulator.run(scores, curve, time_s), emulator.extra(scores)


def follow(
    emulator: Emulator, curve: PowerCurve, time_s: Floats, scores: Floats, work: Runner
) -> tuple[Visit, Floats]:
    """Members through a visit, in chunks; the visit and the extras."""
    chunks = [scores[n : n + CHUNK] for n in range(0, len(scores), CHUNK)]
    parts = list(work.map(partial(_follow, emulator, curve, time_s), chunks))
    return joined([visit for visit, _ in parts]), np.concatenate([extra for _, extra in parts])


def joined(visits: Sequence[Visit]) -> Visit:
    """Members of several visits with the same times, one after the other."""
    return Visit(
        visits[0].time_s,
        np.concatenate([v.zone_mean_c for v in visits]),
        np.concatenate([v.zone_hottest_c for v in visits]),
        np.concatenate([v.hottest_c for v in visits]),
    )


def moved(visit: Visit, by: Visit, away: Visit) -> Visit:
    """A visit plus the difference of two others of one member each."""
    return Visit(
        visit.time_s,
        visit.zone_mean_c + (by.zone_mean_c - away.zone_mean_c),
        visit.zone_hottest_c + (by.zone_hottest_c - away.zone_hottest_c),
        visit.hottest_c + (by.hottest_c - away.hottest_c),
    )


def moved_extra(extra: Floats, by: Floats, away: Floats) -> Floats:
    """Extras times the ratio of two others; shares of power still add up as they did."""
    out = extra * (by / away)
    out[:, 3:] *= extra[:, 3:].sum(axis=1, keepdims=True) / out[:, 3:].sum(axis=1, keepdims=True)
    return np.asarray(out)


def extra_of(forecast: Forecast, layers: Sequence[str]) -> Floats:
    """A forecast's extras as in `Emulator`, (1, 3 + n_layers)."""
    field = forecast.field
    shares = [field.share[layer] for layer in layers]
    return np.array([[forecast.evenness.ratio, field.admittance_s.real, field.admittance_s.imag, *shares]])


def visit_of(forecast: Forecast) -> Visit:
    """A forecast as a visit of one member."""
    return Visit(
        forecast.history.time_s,
        np.stack([z.mean_series_c for z in forecast.zones], axis=1)[None],
        np.stack([z.peak_series_c for z in forecast.zones], axis=1)[None],
        np.stack([forecast.peak_series_c[t] for t in TISSUES], axis=1)[None],
    )


def ensemble(
    case: Case,
    work: Runner,
    *,
    spread: Spread | None = None,
    members: int = MEMBERS,
    seed: int = 0,
    design: int = DESIGN,
    training: int = TRAINING,
    checks: int = CHECKS,
    anchor: Forecast | None = None,
    progress: Progress = lambda step, share: None,
) -> Ensemble:
    """Compute an ensemble of the case's visit. The same seed and numbers give the same result to the last
    digit, whatever `work` is.

    `spread`: what is not known (the shipped one if None). `checks`: members computed in full to measure the
    error. `anchor`: the case's forecast, to which the ensemble is moved. `progress` may raise to cancel.
    """
    if members < 1:
        raise ValueError(f"members is {members}: at least 1 is needed")
    clock = time.perf_counter()
    unknown = spread_of(case) if spread is None else spread
    layout = chosen_layout(case.region, case.placed).coarser()
    made = build_emulator(
        case, unknown, work, seed=seed, design=design, training=training, layout=layout, progress=progress
    )
    seconds = {"emulator": time.perf_counter() - clock}
    progress("members", 0.0)
    time_s, curve = output_times(case), case.session.power
    member_seed = np.random.SeedSequence(seed).spawn(3)[2]
    scores = possible(case, unknown, unknown.scores(members, member_seed))
    visit, extra = follow(made, curve, time_s, scores, work)
    seconds["members"] = time.perf_counter() - clock - seconds["emulator"]
    progress("check", 0.0)
    error = None
    if checks and unknown.unknowns:
        chosen = scores[np.linspace(0, members - 1, min(checks, members)).astype(int)]
        error = compare(made, layout, chosen, curve, time_s, work)
    zeros = np.zeros((1, len(unknown.unknowns)))
    with one_thread():
        unmoved = nominal = made.run(zeros, curve, time_s)
    if anchor is not None:
        nominal = visit_of(anchor)
        visit = moved(visit, nominal, unmoved)
        extra = moved_extra(extra, extra_of(anchor, made.layers), made.extra(zeros))
    seconds["check"] = time.perf_counter() - clock - sum(seconds.values())
    progress("done", 1.0)
    return Ensemble(
        case=case,
        spread=unknown,
        seed=seed,
        scores=scores,
        visit=visit,
        nominal=nominal,
        unmoved=unmoved,
        extra=extra,
        emulator=made,
        error=error,
        design=design,
        anchored=anchor is not None,
        power_end=int(np.searchsorted(time_s, case.session.power.end_s - 1e-6)),
        seconds=seconds,
    )
