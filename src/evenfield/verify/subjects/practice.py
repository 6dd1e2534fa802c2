"""Facts of the trade that the field must show. Common practice, no source; the figures that make words into
numbers are ours (A): even = within 10 % of the mean, little = at most a fifth, hot = half as much again.

Panels either follow the round skin at a constant gap, which is what parallel means on it, or are flat. A tilt
across turns a panel about the limb's axis, one along lifts an end.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache, partial
from math import radians

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator import PanelShape
from evenfield.forecast import expected_tuning
from evenfield.grid.layout import Spacing
from evenfield.tissue import Label
from evenfield.verify.checks import Check, Kind, Subject, register
from evenfield.verify.reference_case import PanelCase, thigh

Floats = NDArray[np.float64]
SOURCE = "common practice, no source"
SPACING = Spacing(scale=1.6)


class HeatingUnder:
    """Heating under the first panel per absorbed watt: `fat` mean over its depth per column (along, across),
    `skin` per cell (along, across, depth), `u` and `v` the columns' places −1..1 across and along."""

    def __init__(
        self, shape: PanelShape, gap_m: float, across_deg: float = 0.0, along_deg: float = 0.0
    ) -> None:
        plain = thigh(gap_m=gap_m)
        first, second = (replace(panel, shape=shape) for panel in plain.panels)
        tilted = replace(first, tilt_across_rad=radians(across_deg), tilt_along_rad=radians(along_deg))
        field = PanelCase(plain.region, (tilted, second), plain.tissues).field(SPACING)
        grid = field.grid
        k, j = grid.panel_cells(0)
        fat, volume = field.heating[:, :, grid.cells_of("fat")], grid.volume[:, :, grid.cells_of("fat")]
        self.fat: Floats = ((fat * volume).sum(axis=2) / volume.sum(axis=2))[k, j]
        self.skin: Floats = field.heating[:, :, grid.cells_of("skin")][k, j]
        self.tuning_percent = expected_tuning(field.admittance_s).percent
        lines = grid.layout.panels[0]
        self.u: Floats = 0.5 * (lines.u[1:] + lines.u[:-1])
        self.v: Floats = 0.5 * (lines.v[1:] + lines.v[:-1])

    def middle(self) -> Floats:
        """Fat columns of the middle half of the panel, both ways."""
        return self.fat[np.ix_(np.abs(self.v) < 0.5, np.abs(self.u) < 0.5)]

    def near_edge(self) -> float:
        """Mean fat heating along the low-angle twentieth of the panel, which a tilt across brings near."""
        return float(self.fat[np.ix_(np.abs(self.v) < 0.5, self.u < -0.9)].mean())

    def near_end(self) -> float:
        """Mean fat heating along the lower twentieth of the panel, which a tilt along brings near."""
        return float(self.fat[np.ix_(self.v < -0.9, np.abs(self.u) < 0.5)].mean())

    def skin_against_fat(self) -> float:
        """Greatest heating of skin over mean heating of fat."""
        return float(self.skin.max() / self.fat.mean())


@cache
def under(
    gap_mm: float,
    across_deg: float = 0.0,
    along_deg: float = 0.0,
    *,
    shape: PanelShape = PanelShape.CURVED,
) -> HeatingUnder:
    return HeatingUnder(shape, gap_mm / 1e3, across_deg, along_deg)


def unevenness(shape: PanelShape) -> float:
    middle = under(10.0, shape=shape).middle()
    return float(np.max(np.abs(middle / middle.mean() - 1.0)))


def rise_at_edge(across_deg: float) -> float:
    return under(10.0, across_deg).near_edge() / under(10.0).near_edge() - 1.0


def rise_at_end(along_deg: float) -> float:
    flat = partial(under, 10.0, shape=PanelShape.FLAT)
    return flat(along_deg=along_deg).near_end() / flat().near_end() - 1.0


def rise_of_skin(gap_mm: float) -> float:
    return under(gap_mm).skin_against_fat() / under(10.0).skin_against_fat() - 1.0


def fall_of_tuning(gap_mm: float) -> float:
    return under(10.0).tuning_percent - under(gap_mm).tuning_percent


def tuning(gap_mm: float) -> float:
    return under(gap_mm).tuning_percent


ROUND, FLAT = "panels that follow the round skin", "flat panels"
for _id, _what, _expected, _kind, _unit, _run in (
    (
        "parallel_gap_is_even",
        f"{ROUND}, gap of 10 mm: fat under the middle half, largest deviation from the mean",
        0.10,
        Kind.AT_MOST,
        "",
        partial(unevenness, PanelShape.CURVED),
    ),
    (
        "flat_panels_are_even",
        f"{FLAT}, gap of 10 mm at the middle: the same",
        0.10,
        Kind.AT_MOST,
        "",
        partial(unevenness, PanelShape.FLAT),
    ),
    (
        "small_tilt_matters_little",
        f"{ROUND}, tilt of 2° across: rise of fat heating along the near edge",
        0.20,
        Kind.AT_MOST,
        "",
        partial(rise_at_edge, 2.0),
    ),
    (
        "large_tilt_heats_near_edge",
        f"{ROUND}, tilt of 6° across: rise of fat heating along the near edge",
        0.5,
        Kind.AT_LEAST,
        "",
        partial(rise_at_edge, 6.0),
    ),
    (
        "small_tilt_along_is_not_yet_hot",
        f"{FLAT}, tilt of 2° along: rise of fat heating along the near end, more than little",
        0.5,
        Kind.AT_MOST,
        "",
        partial(rise_at_end, 2.0),
    ),
    (
        "large_tilt_along_heats_near_end",
        f"{FLAT}, tilt of 6° along: rise of fat heating along the near end",
        0.5,
        Kind.AT_LEAST,
        "",
        partial(rise_at_end, 6.0),
    ),
    (
        "near_panel_heats_skin",
        f"{ROUND}, gap of 4 mm against 10 mm: rise of the skin's hottest place against the mean of the fat",
        0.2,
        Kind.AT_LEAST,
        "",
        partial(rise_of_skin, 4.0),
    ),
    (
        "gap_of_10_mm_tunes",
        f"{ROUND}, gap of 10 mm: tuning to expect by the generic circuit",
        80.0,
        Kind.AT_LEAST,
        "%",
        partial(tuning, 10.0),
    ),
    (
        "far_panel_tunes_badly",
        f"{ROUND}, gap of 30 mm against 10 mm: fall of that tuning",
        10.0,
        Kind.AT_LEAST,
        "points",
        partial(fall_of_tuning, 30.0),
    ),
):
    register(Check(_id, Subject.PRACTICE, _what, _expected, 0.0, _kind, _unit, SOURCE, Label.A, _run))
