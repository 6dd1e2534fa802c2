"""A body of constant section with flat panels, described so that any solver can take it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from math import pi

import numpy as np
from numpy.typing import NDArray
from scipy.constants import epsilon_0

from evenfield.applicator import Panel, PanelShape, PlacedPanel, place
from evenfield.body import Measurements, Region, RegionKind
from evenfield.field import Field, Material, solve_field
from evenfield.grid.fit import Grid, fit
from evenfield.grid.layout import Spacing, make_layout
from evenfield.tissue import FREQUENCY_HZ, FatKind, TissueSet, load_tissue_set

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Extent:
    """The computed space: a cylinder of this radius between two levels [m], natural boundaries all round."""

    air_radius_m: float
    low_m: float
    high_m: float


@dataclass(frozen=True)
class PanelCase:
    """A region of constant section, flat panels and the tissue they heat."""

    region: Region
    panels: tuple[Panel, ...]
    tissues: TissueSet

    @cached_property
    def placed(self) -> tuple[PlacedPanel, ...]:
        return tuple(place(panel, self.region) for panel in self.panels)

    @cached_property
    def materials(self) -> Mapping[str, Material]:
        """Admittivity and density by layer, with "air" as vacuum."""
        found = {}
        for name in self.region.layers:
            tissue = self.tissues.tissue(name)
            y = complex(tissue.dielectric.admittivity(FREQUENCY_HZ))
            found[name] = Material(y, tissue.density_kg_m3)
        return {**found, "air": Material(2j * pi * FREQUENCY_HZ * epsilon_0, 1.2)}

    @property
    def drives(self) -> tuple[float, ...]:
        return tuple(panel.drive for panel in self.panels)

    def section(self, points: int) -> Floats:
        """Outer radii of the layers at `points` equal angles, (layers, points) [m]."""
        angle = np.arange(points) * 2.0 * pi / points
        return self.region.layer_radii(angle, np.zeros(points))

    def grid(self, spacing: Spacing | None = None) -> Grid:
        return fit(make_layout(self.region, self.placed, spacing), self.region, self.placed)

    def field(self, spacing: Spacing | None = None) -> Field:
        """evenfield's own solution."""
        return solve_field(self.grid(spacing), self.materials, self.drives)


def extent_of(grid: Grid) -> Extent:
    """The space that a grid covers, so that another solver can be given the same."""
    radius = float(np.hypot(grid.nodes[0, 0, 0, -1], grid.nodes[1, 0, 0, -1]))
    return Extent(radius, float(grid.level[0, 0]), float(grid.level[-1, 0]))


def thigh(
    *,
    radius_m: float = 0.095,
    fat_m: float = 0.015,
    gap_m: float = 0.010,
    tilt_across_rad: float = 0.0,
    fat: FatKind = FatKind.AVERAGE_INFILTRATED,
    width_to_depth: float = 1.0,
) -> PanelCase:
    """An invented thigh, bone 14 mm, skin 2 mm, between facing panels of 90 x 140 mm; one may be tilted."""
    measurements = Measurements(
        kind=RegionKind.THIGH,
        level_m=(-0.06, 0.06),
        girth_m=(2.0 * pi * radius_m,) * 2,
        width_to_depth=width_to_depth,
        fat_m=((fat_m,) * 4,) * 2,
        skin_m=0.002,
        bone_radius_m=0.014,
        wall_m=0.015,
    )
    panels = tuple(
        Panel(name, PanelShape.FLAT, angle, 0.0, 0.09, 0.14, gap_m, tilt, 0.0, drive)
        for name, angle, tilt, drive in (("front", 0.0, tilt_across_rad, 1.0), ("back", pi, 0.0, -1.0))
    )
    return PanelCase(Region(measurements), panels, load_tissue_set().with_fat(fat))
