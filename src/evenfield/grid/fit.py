"""The layout bent to the body: node coordinates that follow skin, tissue layers and panel edges.

Every column (k, j) is a horizontal ray from the region's axis. On a panel the column's angle, level and
radius are those of the panel's own point (u, v), so that panel edges are node lines whatever the tilt;
between panels the displacement and the clearance fade out smoothly towards the next edge line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator import PlacedPanel
from evenfield.body import InputError, Region
from evenfield.grid.assembly import couplings
from evenfield.grid.layout import Layout

Floats = NDArray[np.float64]

AXIS_HOLE = 0.02
"""Radius of the hole left round the axis, as a share of the smallest skin radius (measured effect:
docs/physics.md)."""
_REACH_M = 0.06
"""How far beyond a panel's edge its displacement of the lines reaches at most."""
_LEAST_M = 1e-4
"""Least height over the skin that counts; what is lower is refused as folded."""


@dataclass(frozen=True)
class Grid:
    """`nodes` (3, nk, nj, ni) m; `angle`, `level`, `skin_radius` (nk, nj) of the columns; `layer_of_cell` (ni
    − 1,) names the material of each radial cell ("air" outside the skin); `skin_node`, `panel_node`: radial
    indices of the skin surface and of the level on which all panels lie; `couplings` (nk, nj, 9, 4, ni) m and
    `volume` (nk − 1, nj, ni − 1) m³ as `assembly.couplings` gives them."""

    layout: Layout
    nodes: Floats
    angle: Floats
    level: Floats
    skin_radius: Floats
    layer_of_cell: tuple[str, ...]
    skin_node: int
    panel_node: int
    couplings: Floats
    volume: Floats

    @property
    def shape(self) -> tuple[int, int, int]:
        """(nk, nj, ni)."""
        _, nk, nj, ni = self.nodes.shape
        return nk, nj, ni

    def cells_of(self, layer: str) -> slice:
        """The radial cells of one layer."""
        where = [i for i, name in enumerate(self.layer_of_cell) if name == layer]
        return slice(where[0], where[-1] + 1)

    def panel_nodes(self, number: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Open-mesh indices (k, j) of the nodes on one panel."""
        lines = self.layout.panels[number]
        k, j = np.ix_(np.arange(lines.k0, lines.k1 + 1), lines.angles(self.layout.angle.size))
        return k, j

    def panel_cells(self, number: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Open-mesh indices (k, j) of the cell columns under one panel."""
        lines = self.layout.panels[number]
        k, j = np.ix_(np.arange(lines.k0, lines.k1), np.arange(lines.j0, lines.j1) % self.layout.angle.size)
        return k, j


def _between_panels(region: Region, panels: Sequence[PlacedPanel]) -> float:
    """Height of the panels' level over the skin between panels, m: the harmonic mean of the panels' own, at
    their corners, middles of edges and centres.

    From the panels and not from the grid's lines, so that nested grids agree. Harmonic, since a wide flat
    panel whose edges stand far from a curved body must not lift the lines beside a near neighbour: its edge
    field would then lie in steep, coarse cells (decision 0108).
    """
    part = np.linspace(-0.5, 0.5, 3)
    heights = []
    for placed in panels:
        theta, z, r = placed.polar(part * placed.panel.width_m, part[:, None] * placed.panel.length_m)
        heights.append(r - region.skin_radius(theta, z))
    return 1.0 / float(np.mean(1.0 / np.maximum(heights, _LEAST_M)))


def _fade(position: Floats, inside: tuple[float, float], reach: tuple[float, float]) -> Floats:
    """1 inside, falling smoothly to 0 at `reach` below and above."""
    below = np.clip((inside[0] - position) / reach[0], 0.0, 1.0)
    above = np.clip((position - inside[1]) / reach[1], 0.0, 1.0)
    s = np.maximum(below, above)
    return np.asarray(1.0 - s * s * (3.0 - 2.0 * s))


def _weights(
    layout: Layout, number: int, radius: float
) -> tuple[Floats, Floats, NDArray[np.int64], NDArray[np.int64]]:
    """Fading weights over angle (nj,) and level (nk,) lines, and each line's nearest line on the panel."""
    p = layout.panels[number]
    nj = layout.angle.size
    edges = sorted(layout.angle[e] for e in layout.angle_edges)
    turn = 2 * np.pi
    a0 = layout.angle[p.j0]
    a1 = layout.angle[p.j1 % nj] + turn * (p.j1 // nj)
    gaps_below = [(a0 - e) % turn for e in edges if (a0 - e) % turn > 1e-9]
    gaps_above = [(e - a1) % turn for e in edges if (e - a1) % turn > 1e-9]
    cap = _REACH_M / radius
    reach = (min([cap, *gaps_below]), min([cap, *gaps_above]))
    middle = 0.5 * (a0 + a1)
    around = middle + (layout.angle - middle + np.pi) % turn - np.pi
    w_angle = _fade(around, (a0, a1), reach)
    inside = (np.arange(nj) - p.j0) % nj
    j_near = np.where(inside <= p.j1 - p.j0, inside, np.where(around < middle, 0, p.j1 - p.j0))

    z0, z1 = layout.level[p.k0], layout.level[p.k1]
    levels = [layout.level[0], *(layout.level[e] for e in layout.level_edges), layout.level[-1]]
    below = [z0 - z for z in levels if z0 - z > 1e-9]
    above = [z - z1 for z in levels if z - z1 > 1e-9]
    w_level = _fade(layout.level, (z0, z1), (min([_REACH_M, *below]), min([_REACH_M, *above])))
    k_near = np.clip(np.arange(layout.level.size), p.k0, p.k1) - p.k0
    return w_angle, w_level, j_near, k_near


def _panel_angles(layout: Layout, j0: int, j1: int) -> Floats:
    nj = layout.angle.size
    j = np.arange(j0, j1 + 1)
    return np.asarray(layout.angle[j % nj] + 2 * np.pi * (j // nj))


def fit(layout: Layout, region: Region, panels: Sequence[PlacedPanel]) -> Grid:
    """Bend the layout to the body and the placed panels.

    Raises InputError (a ValueError) where a cell would fold over.
    """
    nk, nj = layout.level.size, layout.angle.size
    angle = np.broadcast_to(layout.angle, (nk, nj)).copy()
    level = np.broadcast_to(layout.level[:, None], (nk, nj)).copy()
    points, weights = [], []
    for number, (lines, placed) in enumerate(zip(layout.panels, panels, strict=True)):
        half_w, half_l = placed.panel.width_m / 2, placed.panel.length_m / 2
        theta, z, r = placed.polar(lines.u[None, :] * half_w, lines.v[:, None] * half_l)
        base = _panel_angles(layout, lines.j0, lines.j1)
        theta = theta + 2 * np.pi * np.round((base.mean() - theta.mean()) / (2 * np.pi))
        w_angle, w_level, j_near, k_near = _weights(layout, number, float(placed.polar(0.0, 0.0)[2]))
        w = w_level[:, None] * w_angle[None, :]
        pick = np.ix_(k_near, j_near)
        angle += w * (theta - base[None, :])[pick]
        level += w * (z - layout.level[lines.k0 : lines.k1 + 1, None])[pick]
        points.append((theta, z, r, pick))
        weights.append(w)
    layers = region.layer_radii(angle, level)
    skin = layers[-1]
    spare = 1.0 - sum(weights)
    clearances = [r - region.skin_radius(theta, z) for theta, z, r, _ in points]
    typical = _between_panels(region, panels)
    clearance = spare * typical
    for c, w, (_, _, _, pick) in zip(clearances, weights, points, strict=True):
        clearance = clearance + w * c[pick]
    at_panel = skin + clearance
    outside = float(at_panel.max()) + layout.air_depth
    hole = AXIS_HOLE * float(skin.min())

    bounds = [np.full((nk, nj), hole), *layers, at_panel, np.full((nk, nj), outside)]
    parts = [
        (a[..., None] + (b - a)[..., None] * f[:-1])
        for a, b, f in zip(bounds[:-1], bounds[1:], layout.radial, strict=True)
    ]
    radius = np.concatenate([*parts, bounds[-1][..., None]], axis=-1)
    nodes = np.stack(
        [
            radius * np.cos(angle)[..., None],
            radius * np.sin(angle)[..., None],
            np.broadcast_to(level[..., None], radius.shape),
        ]
    )
    names = [*region.layers, "air", "air"]
    layer_of_cell = tuple(n for n, f in zip(names, layout.radial, strict=True) for _ in range(f.size - 1))
    skin_node = sum(f.size - 1 for f in layout.radial[:-2])
    nodes = np.ascontiguousarray(nodes)
    between, volume = couplings(nodes)
    grid = Grid(
        layout=layout,
        nodes=nodes,
        angle=angle,
        level=level,
        skin_radius=skin,
        layer_of_cell=layer_of_cell,
        skin_node=skin_node,
        panel_node=skin_node + layout.radial[-2].size - 1,
        couplings=between,
        volume=volume,
    )
    if _folded(radius, level, angle):
        raise InputError(
            "panel: the panels' tilts or places fold the grid over; less tilt or more room between is needed",
            key="panel",
        )
    return grid


def _folded(radius: Floats, level: Floats, angle: Floats) -> bool:
    """Whether lines cross: radii (nk, nj, ni), levels and angles (nk, nj) that do not rise throughout."""
    whole_turn = np.concatenate([angle, angle[:, :1] + 2 * np.pi], axis=1)
    return any(
        bool((np.diff(lines, axis=axis) <= 0).any())
        for lines, axis in ((radius, -1), (level, 0), (whole_turn, 1))
    )
