"""How far the emulator is off: members computed in full, against it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from evenfield.case import Case
from evenfield.forecast.engine import evenness_of, peaks, zone_means
from evenfield.forecast.zones import make_zones
from evenfield.grid.fit import Grid
from evenfield.grid.layout import Layout
from evenfield.heat.history import History, simulate
from evenfield.heat.power import PowerCurve
from evenfield.tolerance.emulator import TISSUES, Emulator, Visit, nominal_share
from evenfield.tolerance.member import one_row, solved_member
from evenfield.tolerance.parallel import Runner
from evenfield.tolerance.spread import Spread

Floats = NDArray[np.float64]

FULL_TOLERANCE_K = 0.2


@dataclass(frozen=True)
class FullMember:
    """One member by its own field and the full heat model on the coarse grid: as in `Visit`, without the
    first axis, and its evenness."""

    zone_mean_c: Floats
    zone_hottest_c: Floats
    hottest_c: Floats
    evenness: float


@dataclass(frozen=True)
class EmulatorError:
    """Differences emulator less full, over `members` members and all minutes, K: root mean square and
    largest of the zones' means, of the zones' hottest points, and of the hottest skin and fat; and of
    `evenness`."""

    members: int
    zone_mean_k: tuple[float, float]
    zone_hottest_k: tuple[float, float]
    hottest_skin_k: tuple[float, float]
    hottest_fat_k: tuple[float, float]
    evenness: tuple[float, float]


def full_member(
    case: Case, layout: Layout, spread: Spread, curve: PowerCurve, time_s: Floats, row: Floats
) -> FullMember:
    """One row of scores computed in full. `curve`: set (or absorbed) power."""
    values = one_row(spread, row)
    member = solved_member(case, layout, values)
    share = values.get("absorbed_fraction", nominal_share(case))
    history = simulate(member.heat, curve.scaled(share), time_s, tolerance_k=FULL_TOLERANCE_K)
    grid = member.field.grid
    zones = make_zones(grid, member.case.placed, case.measurements.kind.trunk)
    nodes = history.temperature_c.reshape(time_s.size, -1)
    hottest = np.stack([nodes[:, inside].max(axis=1) for inside in zones.inside], axis=1)
    return FullMember(
        zone_means(zones, history).T,
        hottest.astype(np.float64),
        _tissue_peaks(grid, history),
        evenness_of(member.field).ratio,
    )


def _tissue_peaks(grid: Grid, history: History) -> Floats:
    by_tissue = peaks(grid, history)
    return np.stack([by_tissue[tissue] for tissue in TISSUES], axis=1)


def compare(
    emulator: Emulator, layout: Layout, scores: Floats, curve: PowerCurve, time_s: Floats, work: Runner
) -> EmulatorError:
    """Compute rows of scores in full and compare."""
    task = partial(full_member, emulator.case, layout, emulator.spread, curve, time_s)
    full = list(work.map(task, list(scores)))
    visit = emulator.run(scores, curve, time_s)
    return difference(visit, emulator.extra(scores)[:, 0], full)


def difference(visit: Visit, evenness: Floats, full: list[FullMember]) -> EmulatorError:
    """The emulator's members against the full ones."""

    def both(defect: Floats) -> tuple[float, float]:
        return float(np.sqrt(np.mean(defect**2))), float(np.max(np.abs(defect)))

    hottest = visit.hottest_c - np.stack([m.hottest_c for m in full])
    return EmulatorError(
        members=len(full),
        zone_mean_k=both(visit.zone_mean_c - np.stack([m.zone_mean_c for m in full])),
        zone_hottest_k=both(visit.zone_hottest_c - np.stack([m.zone_hottest_c for m in full])),
        hottest_skin_k=both(hottest[:, :, 0]),
        hottest_fat_k=both(hottest[:, :, 1]),
        evenness=both(evenness - [m.evenness for m in full]),
    )
