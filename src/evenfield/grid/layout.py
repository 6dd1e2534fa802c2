"""Where the grid's lines run before they are bent to the body: counts, base angles and levels, radial
fractions.

A layout is made once for a placement. A changed gap, tilt or small shift keeps the layout and only moves
nodes (`grid.fit`), so that two such forecasts differ by physics and not by meshing noise. Every segment
between two edge lines has an even number of cells, so that the twice coarser grid is nested and keeps all
edges.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator import PlacedPanel
from evenfield.body import Region

Floats = NDArray[np.float64]
AROUND, ALONG = 16, 8
"""Cells around and along come in multiples of these, so that the coarse grid nested in the fine one can be
halved twice itself."""


@dataclass(frozen=True)
class Spacing:
    """Target cell sizes in m. `scale` multiplies them all; the error of fat SAR goes about as its square."""

    edge: float = 4.0e-3
    under_panel: float = 6.0e-3
    beyond: float = 8.0e-3
    ends: float = 10.0e-3
    growth: float = 0.35
    fat: float = 2.6e-3
    skin: float = 0.6e-3
    deep: float = 8.0e-3
    gap: float = 2.2e-3
    air_depth: float = 0.15
    end_depth: float = 0.16
    scale: float = 1.0


@dataclass(frozen=True)
class PanelLines:
    """One panel's place among the lines: angle lines j0..j1 (j1 may pass nj: take modulo), level lines
    k0..k1.

    `u`, `v`: relative positions −1..1 of those lines across and along the panel.
    """

    j0: int
    j1: int
    k0: int
    k1: int
    u: Floats
    v: Floats

    def angles(self, nj: int) -> NDArray[np.int64]:
        """Indices of the panel's angle lines, wrapped."""
        return np.arange(self.j0, self.j1 + 1) % nj


@dataclass(frozen=True)
class Layout:
    """`angle` (nj,) increasing, rad; `level` (nk,) increasing, m; `radial`: per segment (each tissue layer
    from the axis out, the gap, the air beyond the panels) fractions 0..1 of its nodes; `angle_edges`,
    `level_edges`: the indices on which panel edges lie."""

    angle: Floats
    level: Floats
    radial: tuple[Floats, ...]
    panels: tuple[PanelLines, ...]
    angle_edges: tuple[int, ...]
    level_edges: tuple[int, ...]
    air_depth: float

    def coarser(self) -> Layout:
        """Every second line: an eighth of the cells, nested."""
        return replace(
            self,
            angle=self.angle[::2],
            level=self.level[::2],
            radial=tuple(f[::2] for f in self.radial),
            panels=tuple(
                PanelLines(p.j0 // 2, p.j1 // 2, p.k0 // 2, p.k1 // 2, p.u[::2], p.v[::2])
                for p in self.panels
            ),
            angle_edges=tuple(e // 2 for e in self.angle_edges),
            level_edges=tuple(e // 2 for e in self.level_edges),
        )

    def finer(self) -> Layout:
        """A line midway between every two: eight times the cells, nested."""
        around = np.append(self.angle, self.angle[0] + 2 * np.pi)
        return replace(
            self,
            angle=_halved(around)[:-1],
            level=_halved(self.level),
            radial=tuple(_halved(f) for f in self.radial),
            panels=tuple(
                PanelLines(2 * p.j0, 2 * p.j1, 2 * p.k0, 2 * p.k1, _halved(p.u), _halved(p.v))
                for p in self.panels
            ),
            angle_edges=tuple(2 * e for e in self.angle_edges),
            level_edges=tuple(2 * e for e in self.level_edges),
        )


def _halved(lines: Floats) -> Floats:
    out = np.empty(2 * lines.size - 1)
    out[::2] = lines
    out[1::2] = 0.5 * (lines[1:] + lines[:-1])
    return out


@dataclass(frozen=True)
class _Segment:
    length: float
    start: float
    end: float
    most: float
    growth: float

    def _integral(self) -> tuple[Floats, Floats]:
        s = np.linspace(0.0, self.length, 257)
        size = np.minimum(
            self.most, np.minimum(self.start + self.growth * s, self.end + self.growth * s[::-1])
        )
        density = 1.0 / size
        return s, np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(s))])

    def wanted(self) -> float:
        """Number of cells that meets the sizes."""
        return float(self._integral()[1][-1])

    def fractions(self, cells: int) -> Floats:
        s, total = self._integral()
        return np.interp(np.linspace(0.0, total[-1], cells + 1), total, s) / self.length


def _counts(segments: Sequence[_Segment], multiple: int) -> list[int]:
    """Even numbers of cells whose sum is a multiple of `multiple`, never fewer than wanted.

    Cells are added where they are most wanted, to equal segments together where that fits, so that a
    symmetric placement keeps a symmetric grid.
    """
    wanted = [round(s.wanted(), 6) for s in segments]
    counts = [max(2, 2 * int(np.ceil(w / 2.0))) for w in wanted]
    while missing := -sum(counts) % multiple:
        alike = {w: [n for n, v in enumerate(wanted) if v == w] for w in wanted}
        fitting = [group for group in alike.values() if 2 * len(group) <= missing]
        fitting = fitting or [[n] for n in range(len(wanted))]
        if missing == 4:  # a lone segment would leave 2 for the other of a pair
            fitting = [g for g in fitting if len(g) == 2] or fitting
        for n in max(fitting, key=lambda group: wanted[group[0]] / counts[group[0]]):
            counts[n] += 2
    return counts


def _lines(
    edges: Sequence[float], segments: Sequence[_Segment], multiple: int
) -> tuple[Floats, tuple[int, ...]]:
    """All line positions from the edges' positions on, and the index of each edge (and of the end)."""
    counts = _counts(segments, multiple)
    parts = [
        edge + segment.length * segment.fractions(n)[:-1]
        for edge, segment, n in zip(edges, segments, counts, strict=True)
    ]
    end = edges[-1] + segments[-1].length
    index = (0, *(int(c) for c in np.cumsum(counts)))
    return np.append(np.concatenate(parts), end), index


def _clustered(values: Sequence[float], tolerance: float) -> list[float]:
    """Sorted values with neighbours nearer than the tolerance merged into their mean."""
    groups: list[list[float]] = []
    for value in sorted(values):
        if groups and value - groups[-1][0] < tolerance:
            groups[-1].append(value)
        else:
            groups.append([value])
    return [float(np.mean(g)) for g in groups]


@dataclass(frozen=True)
class _Marked:
    """Lines one way: their places (rad around, m along), the panels' edges, and the line of each edge."""

    places: Floats
    edges: Floats
    index: tuple[int, ...]

    def line_of(self, place: float) -> int:
        """The line of the edge nearest to a place."""
        return self.index[int(np.argmin(np.abs(self.edges - place)))]


def make_layout(region: Region, panels: Sequence[PlacedPanel], spacing: Spacing | None = None) -> Layout:
    """Lines for this body and placement; panel edges nearer than half the edge size share a line."""
    size = spacing or Spacing()
    spans = [_ends(p.polar(s * p.panel.width_m / 2, 0.0)[0] for s in (-1.0, 1.0)) for p in panels]
    ends = [_ends(p.polar(0.0, s * p.panel.length_m / 2)[1] for s in (-1.0, 1.0)) for p in panels]
    radius = float(np.mean([p.polar(0.0, 0.0)[2] for p in panels]))
    near = 0.5 * size.scale * size.edge / radius
    origin = spans[0][0]

    def turned(angle: float) -> float:
        """The angle from the first edge on, 0 for what lies just short of a whole turn."""
        turn = (angle - origin) % (2 * np.pi)
        return 0.0 if 2 * np.pi - turn < near else turn

    around = _around(_clustered([turned(a) for span in spans for a in span], near), spans, radius, size)
    along = _along(region, ends, size)
    nj = around.places.size
    lines = []
    for p, (low, high), (bottom, top) in zip(panels, spans, ends, strict=True):
        j0, j1 = around.line_of(turned(low)), around.line_of(turned(high))
        across = (j0, j1 if j1 > j0 else j1 + nj)
        lines.append(_panel_lines(p, low, across, (along.line_of(bottom), along.line_of(top)), around, along))
    return Layout(
        angle=around.places,
        level=along.places,
        radial=_radial(region, panels, size),
        panels=tuple(lines),
        angle_edges=around.index,
        level_edges=along.index,
        air_depth=size.air_depth,
    )


def _ends(two: Iterable[Floats]) -> tuple[float, float]:
    low, high = (float(one) for one in two)
    return low, high


def _around(
    edges: list[float], spans: Sequence[tuple[float, float]], radius: float, size: Spacing
) -> _Marked:
    """Lines around, from the first panel's first edge on; `edges` are angles from there."""
    f = size.scale
    edge, origin = f * size.edge, spans[0][0]
    segments = []
    for a, b in zip(edges, [*edges[1:], edges[0] + 2 * np.pi], strict=True):
        middle = origin + 0.5 * (a + b)
        covered = any((middle - low) % (2 * np.pi) < high - low for low, high in spans)
        most = f * size.under_panel if covered else f * size.beyond
        segments.append(_Segment((b - a) * radius, edge, edge, most, size.growth))
    arc, index = _lines([a * radius for a in edges], segments, AROUND)
    return _Marked(origin + arc[:-1] / radius, np.array(edges), index[:-1])


def _along(region: Region, ends: Sequence[tuple[float, float]], size: Spacing) -> _Marked:
    """Lines along, from beyond the lowest measured level or panel to beyond the highest."""
    f = size.scale
    edge = f * size.edge
    edges = _clustered([z for pair in ends for z in pair], 0.5 * edge)
    low_end = min(edges[0], region.measurements.level_m[0]) - size.end_depth
    high_end = max(edges[-1], region.measurements.level_m[-1]) + size.end_depth
    marks = [low_end, *edges, high_end]
    segments = []
    for n, (a, b) in enumerate(itertools.pairwise(marks)):
        middle = 0.5 * (a + b)
        first, last = n == 0, n == len(marks) - 2
        covered = any(low < middle < high for low, high in ends)
        most = f * (size.ends if first or last else size.under_panel if covered else size.beyond)
        segments.append(_Segment(b - a, most if first else edge, most if last else edge, most, size.growth))
    level, index = _lines(marks[:-1], segments, ALONG)
    return _Marked(level, np.array(edges), index[1:-1])


def _panel_lines(
    p: PlacedPanel,
    low: float,
    across: tuple[int, int],
    lengthways: tuple[int, int],
    around: _Marked,
    along: _Marked,
) -> PanelLines:
    """A panel between its edge lines `across` and `lengthways`: where on it each line falls. `low`: the angle
    of its first edge."""
    (j0, j1), (k0, k1) = across, lengthways
    steps = np.linspace(-1.0, 1.0, 201)
    seen = p.polar(steps * p.panel.width_m / 2, np.zeros_like(steps))[0]
    heights = p.polar(np.zeros_like(steps), steps * p.panel.length_m / 2)[1]
    j = np.arange(j0, j1 + 1)
    nj = around.places.size
    unwrapped = around.places[j % nj] + 2 * np.pi * (j // nj)
    unwrapped += 2 * np.pi * np.round((low - unwrapped[0]) / (2 * np.pi))
    u = np.interp(unwrapped, seen, steps)
    v = np.interp(along.places[k0 : k1 + 1], heights, steps)
    u[0], u[-1], v[0], v[-1] = -1.0, 1.0, -1.0, 1.0
    return PanelLines(j0, j1, k0, k1, u, v)


def _radial(region: Region, panels: Sequence[PlacedPanel], size: Spacing) -> tuple[Floats, ...]:
    """Node fractions of each radial segment, sized for the thickest place of each layer."""
    f = size.scale
    angle, level = np.meshgrid(
        np.linspace(0.0, 2 * np.pi, 24, endpoint=False), np.array(region.measurements.level_m), indexing="ij"
    )
    radii = region.layer_radii(angle, level)
    thick = {
        name: float(t)
        for name, t in zip(region.layers, np.diff(radii, axis=0, prepend=0.0).max(axis=(1, 2)), strict=True)
    }
    gap = max(float(p.clearance(0.0, 0.0)) for p in panels)
    skin, fat = f * size.skin, f * size.fat
    at_gap = min(f * size.gap, gap / 4)
    out = []
    for name in region.layers:
        length = thick[name]
        if name == "skin":
            segment = _Segment(length, skin, skin, skin, 0.0)
        elif name == "fat":
            segment = _Segment(length, fat, min(fat, 2 * skin), fat, size.growth)
        elif name == "muscle":
            segment = _Segment(length, f * size.deep, fat, f * size.deep, size.growth)
        else:
            segment = _Segment(length, f * size.deep, f * size.deep / 1.5, 2.0 * f * size.deep, size.growth)
        out.append(segment.fractions(max(4 if name in ("skin", "fat") else 2, _counts([segment], 2)[0])))
    segment = _Segment(gap, at_gap, at_gap, f * size.gap * 2, size.growth)
    out.append(segment.fractions(max(6, _counts([segment], 2)[0])))
    segment = _Segment(size.air_depth, at_gap, 1.0, 1.0, 0.6)
    out.append(segment.fractions(_counts([segment], 2)[0]))
    return tuple(out)
