"""The tolerance table: every usual error of placing against the plan, all on one kind of grid.

Base and variations are computed on the grid nested in the forecast's own (an eighth of its cells), at the
same absorbed power, so that a change is an effect of place and not of tuning. Differences of two such runs
are far more exact than either run, since the layout of the grid is kept and only its nodes move.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from evenfield.applicator import PlacementError, check_placement
from evenfield.case import Case
from evenfield.dose import find_hot_spots
from evenfield.field import Field, solve_field
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import Setting, bioheat_of, evenness_of, setting_of, words_for, zone_means
from evenfield.forecast.zones import make_zones
from evenfield.grid.fit import Grid, fit
from evenfield.grid.layout import Layout
from evenfield.heat.history import simulate
from evenfield.tolerance.variation import Variation, variations

Progress = Callable[[float], None]
LOOK_MINUTES = (10.0, 30.0)
"""When skin and fat are compared."""


@dataclass(frozen=True)
class PlacementOutcome:
    """One computed placement. `skin_c`, `fat_c`: hottest point at the two looks; `minutes_to_band`: until the
    mean of fat under the panels reaches the band, NaN if it does not within the session; `where`: hottest
    skin in words."""

    skin_c: tuple[float, float]
    fat_c: tuple[float, float]
    evenness: float
    admittance_s: complex
    minutes_to_band: float
    where: str


@dataclass(frozen=True)
class Effect:
    """A variation and what it does; `refused` holds the sentence if the placement is not possible."""

    variation: Variation
    outcome: PlacementOutcome | None
    refused: str = ""


@dataclass(frozen=True)
class ToleranceTable:
    """The planned placement on the table's grid, and every variation."""

    case: Case
    base: PlacementOutcome
    effects: tuple[Effect, ...]

    def change(self, effect: Effect) -> tuple[float, float, float, float, float]:
        """Change of hottest skin and fat (K) at the second look, at the first look, and of evenness."""
        o = effect.outcome
        if o is None:
            return (np.nan,) * 5
        return (
            o.skin_c[1] - self.base.skin_c[1],
            o.fat_c[1] - self.base.fat_c[1],
            o.skin_c[0] - self.base.skin_c[0],
            o.fat_c[0] - self.base.fat_c[0],
            o.evenness - self.base.evenness,
        )


def tolerance_table(
    case: Case, chosen: Iterable[Variation] | None = None, *, progress: Progress = lambda share: None
) -> ToleranceTable:
    """Compute the plan and its variations (all the usual ones unless some are `chosen`).

    `progress` gets the share done and may raise to cancel.
    """
    setting = setting_of(case)
    layout = chosen_layout(case.region, case.placed).coarser()
    base = _outcome(case, setting, layout)
    effects = []
    every = list(variations(case) if chosen is None else chosen)
    for n, variation in enumerate(every):
        progress(n / len(every))
        try:
            check_placement(variation.case.region, variation.case.placed)
        except PlacementError as error:
            effects.append(Effect(variation, None, str(error)))
            continue
        effects.append(Effect(variation, _outcome(variation.case, setting, layout)))
    progress(1.0)
    return ToleranceTable(case, base, tuple(effects))


def _grid(case: Case, layout: Layout) -> Grid:
    """The kept layout bent to the changed placement; a layout of its own where that would fold."""
    try:
        return fit(layout, case.region, case.placed)
    except ValueError:
        return fit(chosen_layout(case.region, case.placed).coarser(), case.region, case.placed)


def _outcome(case: Case, setting: Setting, layout: Layout) -> PlacementOutcome:
    grid = _grid(case, layout)
    field = solve_field(grid, setting.materials, [p.drive for p in case.panels], residual=1e-6)
    model = bioheat_of(case, setting, field)
    _, absorbed, _ = case.session.absorbed()
    looks = np.array([60.0 * m for m in LOOK_MINUTES])
    end = max(looks[-1], case.session.power.end_s)
    times = np.unique(np.concatenate([np.arange(0.0, end + 1.0, 60.0), looks]))
    history = simulate(
        model, replace(absorbed, end_s=max(absorbed.end_s, float(looks[-1]))), times, tolerance_k=0.2
    )
    at = [int(np.argmin(np.abs(times - look))) for look in looks]
    skin, fat = (_hottest(grid, history.temperature_c[at], tissue) for tissue in ("skin", "fat"))
    zones = make_zones(grid, case.placed, case.measurements.kind.trunk)
    is_fat = [z.tissue == "fat" for z in zones.zones]
    mean = zone_means(zones, history)[is_fat].mean(axis=0)
    reached = np.flatnonzero(mean >= case.session.band_c[0])
    return PlacementOutcome(
        skin_c=skin,
        fat_c=fat,
        evenness=evenness_of(field).ratio,
        admittance_s=field.admittance_s,
        minutes_to_band=float(times[reached[0]]) / 60.0 if reached.size else float("nan"),
        where=_where(case, field, history.temperature_c[at[1]]),
    )


def _hottest(grid: Grid, temperature_c: np.ndarray, tissue: str) -> tuple[float, float]:
    cells = grid.cells_of(tissue)
    top = temperature_c[..., cells.start : cells.stop + 1].max(axis=(1, 2, 3))
    return float(top[0]), float(top[1])


def _where(case: Case, field: Field, temperature_c: np.ndarray) -> str:
    grid = field.grid
    surface = temperature_c[:, :, grid.skin_node].ravel()
    points = np.moveaxis(grid.nodes[:, :, :, grid.skin_node], 0, -1).reshape(-1, 3)
    spot = find_hot_spots(surface, np.full(surface.size, "skin"), points, count=1)[0]
    return words_for(case, spot.position_m, "skin")
