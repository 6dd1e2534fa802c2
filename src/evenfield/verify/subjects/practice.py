"""Facts of the trade that the field must show. Common practice, no source; the figures that make words into
numbers are ours (A): even = within 10 % of the mean, little = at most 15 %, hot = half as much again.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import radians

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator import PanelShape
from evenfield.grid.layout import Spacing
from evenfield.tissue import Label
from evenfield.verify.checks import Kind, Subject, check
from evenfield.verify.reference_case import PanelCase, thigh

Floats = NDArray[np.float64]
SOURCE = "common practice, no source"
SPACING = Spacing(scale=1.6)


class HeatingUnder:
    """Heating under the first panel per absorbed watt: `fat` mean over its depth per column (along, across),
    `skin` per cell (along, across, depth), `u` and `v` the columns' places −1..1 across and along."""

    def __init__(self, gap_m: float, tilt_deg: float) -> None:
        flat = thigh(gap_m=gap_m, tilt_across_rad=radians(tilt_deg))
        # parallel to round skin is a panel that follows it
        panels = tuple(replace(panel, shape=PanelShape.CURVED) for panel in flat.panels)
        field = PanelCase(flat.region, panels, flat.tissues).field(SPACING)
        grid = field.grid
        k, j = grid.panel_cells(0)
        fat, volume = field.heating[:, :, grid.cells_of("fat")], grid.volume[:, :, grid.cells_of("fat")]
        self.fat: Floats = ((fat * volume).sum(axis=2) / volume.sum(axis=2))[k, j]
        self.skin: Floats = field.heating[:, :, grid.cells_of("skin")][k, j]
        lines = grid.layout.panels[0]
        self.u: Floats = 0.5 * (lines.u[1:] + lines.u[:-1])
        self.v: Floats = 0.5 * (lines.v[1:] + lines.v[:-1])

    def middle(self) -> Floats:
        """Fat columns of the middle half of the panel, both ways."""
        return self.fat[np.ix_(np.abs(self.v) < 0.5, np.abs(self.u) < 0.5)]

    def near_edge(self) -> float:
        """Mean fat heating along the low-angle twentieth of the panel, which a tilt brings near."""
        return float(self.fat[np.ix_(np.abs(self.v) < 0.5, self.u < -0.9)].mean())

    def skin_against_fat(self) -> float:
        """Greatest heating of skin over mean heating of fat."""
        return float(self.skin.max() / self.fat.mean())


@cache
def under(gap_mm: float, tilt_deg: float) -> HeatingUnder:
    return HeatingUnder(gap_mm / 1e3, tilt_deg)


@check(
    "parallel_gap_is_even",
    Subject.PRACTICE,
    "parallel gap of 10 mm: fat under the middle half of the panel, largest deviation from the mean",
    expected=0.10,
    kind=Kind.AT_MOST,
    source=SOURCE,
    label=Label.A,
)
def _even() -> float:
    middle = under(10.0, 0.0).middle()
    return float(np.max(np.abs(middle / middle.mean() - 1.0)))


@check(
    "small_tilt_matters_little",
    Subject.PRACTICE,
    "tilt of 1°: rise of fat heating along the near edge",
    expected=0.15,
    kind=Kind.AT_MOST,
    source=SOURCE,
    label=Label.A,
)
def _small_tilt() -> float:
    return under(10.0, 1.0).near_edge() / under(10.0, 0.0).near_edge() - 1.0


@check(
    "large_tilt_heats_near_edge",
    Subject.PRACTICE,
    "tilt of 6°: rise of fat heating along the near edge",
    expected=0.5,
    kind=Kind.AT_LEAST,
    source=SOURCE,
    label=Label.A,
)
def _large_tilt() -> float:
    return under(10.0, 6.0).near_edge() / under(10.0, 0.0).near_edge() - 1.0


@check(
    "near_panel_heats_skin",
    Subject.PRACTICE,
    "gap of 4 mm against 10 mm: rise of the skin's hottest place against the mean of the fat",
    expected=0.2,
    kind=Kind.AT_LEAST,
    source=SOURCE,
    label=Label.A,
)
def _near_panel() -> float:
    return under(4.0, 0.0).skin_against_fat() / under(10.0, 0.0).skin_against_fat() - 1.0
