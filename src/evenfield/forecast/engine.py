"""From a case to a forecast: field, heat, dose, hot spots, and what the assumed absorbed fraction does."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.constants import epsilon_0

from evenfield.case import Case, PowerKind, assumptions, tissue_assumptions
from evenfield.dose import (
    UnderPanel,
    burn_estimate,
    cem43,
    evenness,
    find_hot_spots,
    minutes_in_band,
    place_words,
)
from evenfield.dose.evenness import Evenness
from evenfield.field import Field, Material
from evenfield.field.exposure_limits import distance_words
from evenfield.forecast.accuracy import ERROR_TARGET, prolonged, solve_to_target
from evenfield.forecast.result import AssumptionBand, Forecast, Hottest, ZoneResult
from evenfield.forecast.zones import Zones, make_zones
from evenfield.grid.fit import Grid
from evenfield.grid.layout import Layout
from evenfield.heat.bioheat import Bioheat, make_bioheat, skin_facets
from evenfield.heat.history import History, simulate
from evenfield.heat.skin import SkinExchange, skin_exchange
from evenfield.heat.stepping import steady
from evenfield.tissue import FREQUENCY_HZ, Tissue, TissueSet, load_tissue_set

Floats = NDArray[np.float64]
Progress = Callable[[str, float], None]
"""Called with the step's name and its share done, 0 to 1. It may raise `Cancelled`."""

DECIDES = "The device's manual, local rules and the supervising licensed clinician decide."
CAUTIONS = (
    f"This is a computed estimate for an idealised body, not a measurement and not an alarm. {DECIDES}",
    "Temperature in fat cannot be seen or reliably felt. A missing report of warmth proves nothing.",
    "Stop at any ache, burning or hot spot. Keep the stop switch in the client's reach.",
    "No implanted electronic device or lead, even switched off, and no metal in or near the field.",
    "Nothing here forecasts loss of fat; temperature, time in the band and dose do not say it.",
    "Stray field near the panels is not computed. On other installations it was measured to fall below the "
    f"limits at {distance_words()}: keep the manual's distance where it is larger, and use a survey meter.",
)

METHOD_SOURCES = (
    "Quasi-static field, trilinear finite elements; error against full-wave series: docs/quasi_static.md",
    "Pennes, J. Appl. Physiol. 1:93 (1948), bioheat equation",
    "Sapareto and Dewey, Int. J. Radiat. Oncol. Biol. Phys. 10:787 (1984), CEM43",
    "de Dear et al., Int. J. Biometeorol. 40:141 (1997), and Ichihara et al. (1997), skin exchange",
)
AIR_DENSITY = 1.2
LAWS_HOLD_TO_C = 60.0
"""Hottest for which the laws of blood flow are meant (`tissue.flow`)."""


class Cancelled(Exception):  # noqa: N818 (it is not an error)
    """Raised by a progress callback to stop a forecast."""


def silent(step: str, share: float) -> None:
    """No progress shown."""


@dataclass(frozen=True)
class Setting:
    """A case's tissues by layer name, and the set they come from."""

    tissue_set: TissueSet
    tissues: dict[str, Tissue]
    materials: dict[str, Material]


def setting_of(case: Case) -> Setting:
    """Look up the case's tissues and their admittivities at the field's frequency."""
    tissue_set = load_tissue_set(case.tissue_set).with_fat(case.fat_kind)
    tissues = {layer: tissue_set.tissue(layer) for layer in case.region.layers}
    materials = {
        name: Material(complex(t.dielectric.admittivity(FREQUENCY_HZ)), t.density_kg_m3)
        for name, t in tissues.items()
    }
    materials["air"] = Material(2j * np.pi * FREQUENCY_HZ * epsilon_0, AIR_DENSITY)
    return Setting(tissue_set, tissues, materials)


def under_panels(grid: Grid) -> NDArray[np.bool_]:
    """Which columns (nk, nj) lie under a panel."""
    out = np.zeros(grid.shape[:2], dtype=bool)
    for number in range(len(grid.layout.panels)):
        k, j = grid.panel_nodes(number)
        out[k, j] = True
    return out


def bioheat_of(case: Case, setting: Setting, field: Field) -> Bioheat:
    """The heat problem of a case under a field."""
    exchange = exchange_of(case, field.grid)
    return make_bioheat(
        field.grid,
        setting.tissues,
        setting.tissue_set.blood,
        exchange,
        field.heating,
        case.session.baseline_c,
    )


def clearance_of(grid: Grid) -> Floats:
    """Distance from the skin to the panels' level along each column (nk, nj), m."""
    at_panel = np.hypot(grid.nodes[0, :, :, grid.panel_node], grid.nodes[1, :, :, grid.panel_node])
    return np.asarray(at_panel - grid.skin_radius)


def exchange_of(case: Case, grid: Grid) -> SkinExchange:
    """The skin's exchange with room and panels."""
    return skin_exchange(case.measurements.kind, case.room, clearance_of(grid), under_panels(grid))


def output_times(case: Case) -> Floats:
    """Every minute from 0 to the end, and the end itself."""
    end = case.session.end_s
    return np.append(np.arange(0.0, end - 1e-6, 60.0), end)


def evenness_of(field: Field) -> Evenness:
    """Evenness of the depth-averaged fat SAR over the panels' footprint (see `dose.evenness`)."""
    return evenness_under(field.grid, field.sar[:, :, field.grid.cells_of("fat")])


def evenness_under(grid: Grid, fat_sar: Floats) -> Evenness:
    """The same from the SAR in the cells of fat, in any unit."""
    volume = grid.volume[:, :, grid.cells_of("fat")]
    mean_sar = (fat_sar * volume).sum(axis=2) / volume.sum(axis=2)
    area = skin_facets(grid)
    values, weights = [], []
    for number in range(len(grid.layout.panels)):
        k, j = grid.panel_cells(number)
        values.append(mean_sar[k, j].ravel())
        weights.append(area[k, j].ravel())
    return evenness(np.concatenate(values), np.concatenate(weights))


def forecast(
    case: Case,
    *,
    progress: Progress = silent,
    error_target: float = ERROR_TARGET,
    layout: Layout | None = None,
    with_band: bool = True,
) -> Forecast:
    """Compute the whole forecast of a case.

    `error_target`: relative error of fat SAR (volume L2) the grid is chosen for. `layout`: a grid to reuse
    (for what-ifs). `with_band`: also run the assumed range of the absorbed fraction.
    """
    clock = {"start": time.perf_counter()}
    setting = setting_of(case)
    progress("field", 0.0)
    field, coarse, estimate = solve_to_target(
        case.region, case.placed, setting.materials, target=error_target, layout=layout
    )
    clock["field"] = time.perf_counter()
    progress("heat", 0.0)
    coarse_model = bioheat_of(case, setting, coarse)
    coarse_rest = steady(coarse_model)
    model = bioheat_of(case, setting, field)
    rest = steady(model, start_c=prolonged(coarse_rest))
    _, mid, _ = case.session.absorbed()
    times = output_times(case)
    history = simulate(model, mid, times, baseline_c=rest, progress=lambda share: progress("heat", share))
    clock["heat"] = time.perf_counter()

    progress("dose", 0.0)
    zones = make_zones(field.grid, case.placed, case.measurements.kind.trunk)
    results = _zone_results(case, zones, history)
    peak_series = peaks(field.grid, history)
    picture = int(np.argmin(np.abs(times - case.session.picture_s)))
    hottest = _hottest(case, field.grid, history.temperature_c[picture])
    clock["dose"] = time.perf_counter()
    band = None
    if with_band and case.session.power_kind is PowerKind.SET:
        progress("assumed range", 0.0)
        band = _band(case, coarse_model, coarse_rest, zones, history, peak_series)
    clock["band"] = time.perf_counter()
    progress("done", 1.0)
    names = list(clock)
    return Forecast(
        case=case,
        field=field,
        coarse=coarse,
        error_estimate=estimate,
        heat=model,
        history=history,
        zones=results,
        peak_c={tissue: float(series.max()) for tissue, series in peak_series.items()},
        peak_series_c=peak_series,
        evenness=evenness_of(field),
        hottest=hottest,
        band=band,
        picture=picture,
        seconds={b: clock[b] - clock[a] for a, b in itertools.pairwise(names)},
        sources=(*setting.tissue_set.sources(case.region.layers), *METHOD_SOURCES),
        assumptions=tuple(str(a) for a in (*assumptions(case), *tissue_assumptions(case))),
        cautions=cautions_of(peak_series, estimate, error_target),
    )


def cautions_of(peak_series: dict[str, Floats], error: float, target: float) -> tuple[str, ...]:
    """What must be kept in mind, and first of all where temperatures pass what the laws used hold for, and
    where the grid's estimated error stayed above the target."""
    first = []
    hottest = max(float(series.max()) for series in peak_series.values())
    if hottest > LAWS_HOLD_TO_C:
        first.append(
            f"The hottest point computed, {hottest:.0f} °C, lies above {LAWS_HOLD_TO_C:.0f} °C, where the "
            "laws of blood flow and heat used here no longer hold: read it as far too hot, no temperature."
        )
    if error > target:
        first.append(
            f"The grid's error of the heating in fat is estimated at {100 * error:.1f} %, above the "
            f"{100 * target:.3g} % aimed at, and may be twice that: this happens where a panel's edge nearly "
            "touches the skin."
        )
    return (*first, *CAUTIONS)


def peaks(grid: Grid, history: History) -> dict[str, Floats]:
    """Hottest point of skin, fat and muscle at each output time; a node between two tissues counts for
    both."""
    out = {}
    for tissue in ("skin", "fat", "muscle"):
        cells = grid.cells_of(tissue)
        out[tissue] = (
            history.temperature_c[..., cells.start : cells.stop + 1].max(axis=(1, 2, 3)).astype(float)
        )
    return out


def zone_means(zones: Zones, history: History) -> Floats:
    """Mean temperature of each zone at each output time, shape (n_zones, nt)."""
    flat = history.temperature_c.reshape(history.time_s.size, -1)
    return np.asarray(zones.mean @ flat.T, dtype=np.float64)


def _zone_results(case: Case, zones: Zones, history: History) -> tuple[ZoneResult, ...]:
    flat = history.temperature_c.reshape(history.time_s.size, -1)
    means = zone_means(zones, history)
    minutes = history.minutes
    end = int(np.searchsorted(history.time_s, case.session.power.end_s - 1e-6))
    low, high = case.session.band_c
    in_band = minutes_in_band(minutes, means.T, low, high)
    every = np.unique(np.concatenate(zones.inside))
    own = flat[:, every]
    dose = cem43(minutes, own)
    burn = burn_estimate(minutes, own)
    results = []
    for n, (zone, inside) in enumerate(zip(zones.zones, zones.inside, strict=True)):
        at = np.searchsorted(every, inside)
        peak = own[:, at].max(axis=1).astype(float)
        results.append(
            ZoneResult(
                zone=zone,
                mean_series_c=means[n],
                peak_series_c=peak,
                mean_c=float(means[n, end]),
                peak_c=float(peak.max()),
                minutes_in_band=float(in_band[n]),
                cem43=float(dose[at].max()),
                burn=float(burn.estimate[at].max()),
                burn_cautious=float(burn.cautious[at].max()),
            )
        )
    return tuple(results)


def _hottest(
    case: Case, grid: Grid, temperature_c: NDArray[np.float32], count: int = 3
) -> tuple[Hottest, ...]:
    """The hottest distinct places of skin and of fat, in words.

    A node between two tissues counts for both, as in `peaks`.
    """
    out: list[Hottest] = []
    for tissue in ("skin", "fat"):
        cells = grid.cells_of(tissue)
        where = slice(cells.start, cells.stop + 1)
        values = temperature_c[:, :, where]
        points = np.moveaxis(grid.nodes[:, :, :, where], 0, -1).reshape(-1, 3)
        # only what is warm can be a hot spot; keeps the search small
        warm = np.flatnonzero(values.ravel() >= np.quantile(values, 0.9))
        spots = find_hot_spots(values.ravel()[warm], np.full(warm.size, tissue), points[warm], count=count)
        out.extend(
            Hottest(spot.value, tissue, words_for(case, spot.position_m, tissue), spot.position_m)
            for spot in spots
        )
    return tuple(out)


def words_for(case: Case, position_m: tuple[float, float, float], tissue: str) -> str:
    """The place of a point of the body in words, by the panel that covers it if one does."""
    x, y, z = position_m
    angle = float(np.arctan2(y, x))
    trunk = case.measurements.kind.trunk
    for placed in case.placed:
        u, v = placed.local(angle, z)
        across, along = float(u) / (placed.panel.width_m / 2), float(v) / (placed.panel.length_m / 2)
        if abs(across) <= 1.001 and abs(along) <= 1.001:
            under = UnderPanel(
                placed.panel.name,
                placed.panel.angle_rad,
                float(np.clip(across, -1, 1)),
                float(np.clip(along, -1, 1)),
            )
            return place_words(tissue, angle_rad=angle, level_m=z, under=under, trunk=trunk)
    return place_words(tissue, angle_rad=angle, level_m=z, trunk=trunk)


def _band(
    case: Case,
    coarse: Bioheat,
    rest: Floats,
    zones: Zones,
    history: History,
    peak_series: dict[str, Floats],
) -> AssumptionBand:
    """Low and high absorbed fraction on the nested coarse grid, as differences from the same grid's
    middle. `rest`: its baseline."""
    coarse_zones = make_zones(coarse.grid, case.placed, case.measurements.kind.trunk)
    runs = [
        simulate(coarse, curve, history.time_s, baseline_c=rest, tolerance_k=0.3)
        for curve in case.session.absorbed()
    ]
    means = [zone_means(coarse_zones, run) for run in runs]
    tops = [peaks(coarse.grid, run) for run in runs]
    fine_means = zone_means(zones, history)
    fraction = case.session.absorbed_fraction
    return AssumptionBand(
        fraction=(fraction.low, fraction.mid, fraction.high),
        peak_c={t: np.stack([peak_series[t] + top[t] - tops[1][t] for top in tops]) for t in peak_series},
        zone_mean_c=np.stack([fine_means + m - means[1] for m in means]),
    )
