"""The full answer for one placement: its field solved anew, its heat stepped in full, on the kept layout.

The grid is the one nested in the forecast's own (an eighth of its cells). Two such answers differ far more
exactly than either is right, since the layout is kept and only its nodes move.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.case import Case
from evenfield.dose import crossing
from evenfield.field import solve_field
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import Setting, bioheat_of, evenness_of, words_for, zone_means
from evenfield.forecast.tuning import expected_tuning
from evenfield.forecast.zones import Zones, make_zones
from evenfield.grid.fit import Grid, fit
from evenfield.grid.layout import Layout
from evenfield.heat.history import simulate
from evenfield.heat.power import PowerCurve

Floats = NDArray[np.float64]
LOOK_MINUTES = (10.0, 30.0)
"""When skin and fat are compared."""


@dataclass(frozen=True)
class PlacementOutcome:
    """What one placement does. Per minute from 0 on, shape (nt,): `minute`; `skin_c`, `fat_c` the hottest
    point; `fat_mean_c` the mean of fat under the panels. `minutes_to_band`: until that mean reaches the band,
    NaN if it does not. `where`: the hottest skin at the end, in words. `tuning_percent`: what a device of the
    generic profile would show, cables spread."""

    minute: Floats
    skin_c: Floats
    fat_c: Floats
    fat_mean_c: Floats
    evenness: float
    admittance_s: complex
    tuning_percent: float
    minutes_to_band: float
    where: str

    def at(self, series: Floats, minute: float) -> float:
        """A series at a minute, linear between samples, its end beyond them."""
        return float(np.interp(minute, self.minute, series))

    def to_json(self) -> dict[str, Any]:
        """Plain data: °C, min, S, %."""
        never = self.minutes_to_band != self.minutes_to_band
        return {
            "minute": [round(float(m), 3) for m in self.minute],
            "skin_peak_c": [round(float(t), 3) for t in self.skin_c],
            "fat_peak_c": [round(float(t), 3) for t in self.fat_c],
            "fat_mean_c": [round(float(t), 3) for t in self.fat_mean_c],
            "evenness": round(self.evenness, 4),
            "admittance_s": {"re": self.admittance_s.real, "im": self.admittance_s.imag},
            "tuning_percent": round(self.tuning_percent, 2),
            "minutes_to_band": None if never else round(self.minutes_to_band, 2),
            "hottest_skin": self.where,
        }


def table_layout(case: Case) -> Layout:
    """The layout on which placements near this one are compared."""
    return chosen_layout(case.region, case.placed).coarser()


def bent(case: Case, layout: Layout) -> Grid:
    """The kept layout bent to the placement; a layout of its own where that would fold."""
    try:
        return fit(layout, case.region, case.placed)
    except ValueError:
        return fit(table_layout(case), case.region, case.placed)


def looked_at(case: Case, until_s: float) -> tuple[PowerCurve, Floats]:
    """Absorbed power (its last step held up to `until_s`) and every whole minute to its end, s."""
    _, absorbed, _ = case.session.absorbed()
    end = max(absorbed.end_s, until_s)
    return replace(absorbed, end_s=end), np.append(np.arange(0.0, end - 1e-6, 60.0), end)


def solve_outcome(
    case: Case, setting: Setting, layout: Layout, *, until_s: float = 60.0 * LOOK_MINUTES[-1]
) -> PlacementOutcome:
    """Compute one checked placement; power goes on at least until `until_s`, so that all looks are within.

    Raises ValueError where no grid fits.
    """
    grid = bent(case, layout)
    field = solve_field(grid, setting.materials, [p.drive for p in case.panels], residual=1e-6)
    absorbed, times = looked_at(case, until_s)
    history = simulate(bioheat_of(case, setting, field), absorbed, times, tolerance_k=0.2)
    skin, fat = (hottest(grid, history.temperature_c, tissue) for tissue in ("skin", "fat"))
    zones = make_zones(grid, case.placed, case.measurements.kind.trunk)
    mean = zone_means(zones, history)[in_fat(zones)].mean(axis=0)
    return PlacementOutcome(
        minute=history.minutes,
        skin_c=skin,
        fat_c=fat,
        fat_mean_c=mean,
        evenness=evenness_of(field).ratio,
        admittance_s=field.admittance_s,
        tuning_percent=expected_tuning(field.admittance_s).percent,
        minutes_to_band=band_reached(case, history.minutes, mean),
        where=hottest_skin(case, grid, history.temperature_c[-1, :, :, -1]),
    )


def in_fat(zones: Zones) -> NDArray[np.bool_]:
    """Which zones are of fat."""
    return np.array([z.tissue == "fat" for z in zones.zones])


def band_reached(case: Case, minute: Floats, fat_mean_c: Floats) -> float:
    """Minutes until the mean of fat reaches the band, NaN if it does not."""
    reached = crossing(minute, fat_mean_c, case.session.band_c[0])
    return nan if reached is None else reached


def hottest(grid: Grid, temperature_c: NDArray[np.float32], tissue: str) -> Floats:
    """Hottest point of a tissue at each time, °C, shape (nt,)."""
    cells = grid.cells_of(tissue)
    return np.asarray(temperature_c[..., cells.start : cells.stop + 1].max(axis=(1, 2, 3)), dtype=np.float64)


def hottest_skin(case: Case, grid: Grid, surface_c: NDArray[Any]) -> str:
    """Where the skin surface (nk, nj) is hottest, in words."""
    k, j = np.unravel_index(int(np.argmax(surface_c)), surface_c.shape)
    x, y, z = (float(a) for a in grid.nodes[:, k, j, grid.skin_node])
    return words_for(case, (x, y, z), "skin").removesuffix(", skin")
