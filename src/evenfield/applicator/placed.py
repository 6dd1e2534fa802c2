"""A panel in place over a region: its points in space, its place as seen from the axis, and its distance to
the skin.

Panel coordinates: u across, in [-width/2, width/2], growing with the angle; v along, in [-length/2,
length/2], growing with the level; both in metres, zero at the centre.

A **flat** panel is a rectangle in the plane tangent to the skin at (angle, level), moved outwards by the gap
along the skin's normal, then turned about its centre: first by the tilt across, about its along axis, then by
the tilt along, about its own across axis. Untilted, its across axis is horizontal.

A **curved** panel follows the skin: u is the arc length along the curve at the panel's gap around the region,
v runs up the skin. Its distance to the skin along the skin's normal is gap + u tan(tilt across) + v tan(tilt
along). The length along it is measured on the section at each level as if the body did not taper, and at the
centre's gap; a taper of 0.1 or a tilt of 6 degrees changes the panel's area by about 1 %.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator.panel import Panel, PanelShape
from evenfield.body import Region

FloatArray = NDArray[np.float64]
_SAMPLES = 33


@dataclass(frozen=True, eq=False)
class PlacedPanel(ABC):
    """A panel over a region, with the orthonormal frame at its centre. Made by `place`."""

    panel: Panel
    region: Region
    centre: FloatArray
    across: FloatArray
    along: FloatArray
    normal: FloatArray

    @abstractmethod
    def point(self, u: FloatArray | float, v: FloatArray | float) -> FloatArray:
        """Point of the panel in space, shape (..., 3) in m, over the broadcast of u and v."""

    @abstractmethod
    def local(self, angle: FloatArray | float, level: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        """Where the horizontal ray from the axis at (angle, level) meets the panel's surface: u and v in m.

        The surface is continued beyond the panel's edges. NaN where the ray never meets it. Inverse of
        `polar`.
        """

    def polar(
        self, u: FloatArray | float, v: FloatArray | float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Angle (unwrapped: within half a turn of the panel's), level, and distance from the axis."""
        point = self.point(u, v)
        raw = np.arctan2(point[..., 1], point[..., 0])
        return (
            self.panel.angle_rad + _half_turn(raw - self.panel.angle_rad),
            point[..., 2],
            np.hypot(point[..., 0], point[..., 1]),
        )

    def clearance(self, u: FloatArray | float, v: FloatArray | float) -> FloatArray:
        """Shortest distance in m from a point of the panel to the skin, negative inside the body."""
        return self.region.nearest(self.point(u, v))[2]

    @cached_property
    def nearest_gap_m(self) -> float:
        """Least clearance over the panel, on a mesh of points with the edges and corners among them."""
        return self._nearest[0]

    @cached_property
    def nearest_place(self) -> tuple[float, float]:
        """Where on the panel (u, v) the skin is nearest."""
        return self._nearest[1:]

    @cached_property
    def _nearest(self) -> tuple[float, float, float]:
        u, v = self.mesh(_SAMPLES)
        gap = self.clearance(u[:, None], v)
        i, j = np.unravel_index(int(np.argmin(gap)), gap.shape)
        return float(gap[i, j]), float(u[i]), float(v[j])

    def mesh(self, n: int) -> tuple[FloatArray, FloatArray]:
        """n values of u and n of v from edge to edge."""
        half = 0.5 * self.panel.width_m, 0.5 * self.panel.length_m
        return np.linspace(-half[0], half[0], n), np.linspace(-half[1], half[1], n)


class FlatPlaced(PlacedPanel):
    """A flat panel in place."""

    def point(self, u: FloatArray | float, v: FloatArray | float) -> FloatArray:
        u, v = np.broadcast_arrays(np.asarray(u, dtype=np.float64), np.asarray(v, dtype=np.float64))
        return np.asarray(self.centre + u[..., None] * self.across + v[..., None] * self.along)

    def local(self, angle: FloatArray | float, level: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        angle, level = np.broadcast_arrays(
            np.asarray(angle, dtype=np.float64), np.asarray(level, dtype=np.float64)
        )
        ray = np.stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)], axis=-1)
        start = np.stack([np.zeros_like(level), np.zeros_like(level), level], axis=-1) - self.centre
        facing = ray @ self.normal
        reach = -(start @ self.normal) / np.where(facing > 0, facing, np.nan)
        offset = start + reach[..., None] * ray
        return np.asarray(offset @ self.across), np.asarray(offset @ self.along)


class CurvedPlaced(PlacedPanel):
    """A curved panel in place."""

    @cached_property
    def _rise(self) -> float:
        """Change of level per length up the skin at the panel's centre: the cosine of the taper."""
        normal = self.region.surface_normal(self.panel.angle_rad, self.panel.level_m)
        return float(np.hypot(normal[0], normal[1]))

    def _distance(self, u: FloatArray, v: FloatArray) -> FloatArray:
        p = self.panel
        return np.asarray(p.gap_m + u * np.tan(p.tilt_across_rad) + v * np.tan(p.tilt_along_rad))

    def point(self, u: FloatArray | float, v: FloatArray | float) -> FloatArray:
        u, v = np.asarray(u, dtype=np.float64), np.asarray(v, dtype=np.float64)
        level = self.panel.level_m + v * self._rise
        start = self.region.offset_arc(self.panel.angle_rad, level, self.panel.gap_m)
        angle = self.region.angle_at_offset_arc(start + u, level, self.panel.gap_m)
        skin = self.region.surface_point(angle, level)
        return np.asarray(skin + self._distance(u, v)[..., None] * self.region.surface_normal(angle, level))

    def local(self, angle: FloatArray | float, level: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        angle, level = np.broadcast_arrays(
            np.asarray(angle, dtype=np.float64), np.asarray(level, dtype=np.float64)
        )
        p = self.panel
        angle = p.angle_rad + _half_turn(angle - p.angle_rad)
        foot_angle, foot_level = angle, level
        for _ in range(8):
            u = self.region.offset_arc(foot_angle, foot_level, p.gap_m) - self.region.offset_arc(
                p.angle_rad, foot_level, p.gap_m
            )
            v = (foot_level - p.level_m) / self._rise
            normal = self.region.surface_normal(foot_angle, foot_level)
            point = (
                self.region.surface_point(foot_angle, foot_level) + self._distance(u, v)[..., None] * normal
            )
            seen = np.arctan2(point[..., 1], point[..., 0])
            foot_angle = foot_angle + _half_turn(angle - seen)
            foot_level = foot_level + level - point[..., 2]
        return np.asarray(u), np.asarray(v)


def place(panel: Panel, region: Region) -> PlacedPanel:
    """Put a panel over a region. Nothing is checked here; see `check_placement`."""
    surface = region.surface_point(panel.angle_rad, panel.level_m)
    normal = region.surface_normal(panel.angle_rad, panel.level_m)
    across = np.array([-normal[1], normal[0], 0.0]) / np.hypot(normal[0], normal[1])
    along = np.cross(normal, across)
    centre = surface + panel.gap_m * normal
    across, normal = _turned(across, normal, panel.tilt_across_rad)
    along, normal = _turned(along, normal, panel.tilt_along_rad)
    kind = FlatPlaced if panel.shape is PanelShape.FLAT else CurvedPlaced
    return kind(panel, region, centre, across, along, normal)


def _turned(edge: FloatArray, normal: FloatArray, tilt: float) -> tuple[FloatArray, FloatArray]:
    """The direction towards an edge lifted by `tilt` towards the normal, and the normal turned with it."""
    return (
        np.asarray(np.cos(tilt) * edge + np.sin(tilt) * normal),
        np.asarray(np.cos(tilt) * normal - np.sin(tilt) * edge),
    )


def _half_turn(angle: FloatArray) -> FloatArray:
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)
