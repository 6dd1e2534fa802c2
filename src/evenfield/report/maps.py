"""Skin and fat unrolled: hottest temperature through each tissue's thickness, and the panels' outlines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from evenfield.applicator import PlacedPanel
from evenfield.applicator.words import direction_word
from evenfield.body import Region
from evenfield.forecast import Forecast
from evenfield.report.look import HAIR, INK, SOFT, TEMPERATURE, Scale

Floats = NDArray[np.float64]
_MARGIN_M = 0.025
_HALF_LABEL_MM = 5.0
"""On paper, of a label of an isotherm."""
_TURN = 2 * np.pi


@dataclass(frozen=True)
class Unrolled:
    """The part of the skin that a map shows. Right is increasing angle, up is increasing level.

    `cut_rad`: where the skin is cut open; `middle_rad`: the middle, from which arc length counts; `arc_m`,
    `level_m`: what is shown.
    """

    region: Region
    cut_rad: float
    middle_rad: float
    arc_m: tuple[float, float]
    level_m: tuple[float, float]

    def angle(self, angle_rad: Floats) -> Floats:
        """The same direction within the turn that begins at the cut."""
        return np.asarray(self.cut_rad + (angle_rad - self.cut_rad) % _TURN)

    def arc(self, angle_rad: Floats, level_m: Floats) -> Floats:
        """Length along the skin from the middle, m, of angles within the turn from the cut."""
        return np.asarray(
            self.region.skin_arc(angle_rad, level_m) - self.region.skin_arc(self.middle_rad, level_m)
        )


def outline(placed: PlacedPanel) -> tuple[Floats, Floats]:
    """Angle (unwrapped, rad) and level (m) of the edge of a panel's footprint, once round."""
    u, v = placed.mesh(33)
    first, last = np.full_like(u, u[0]), np.full_like(u, u[-1])
    across = np.concatenate([u, last, u[::-1], first])
    along = np.concatenate([np.full_like(v, v[0]), v, np.full_like(v, v[-1]), v[::-1]])
    angle, level, _ = placed.polar(across, along)
    return angle, level


def unrolled(f: Forecast) -> Unrolled:
    """Cut the skin open in the middle of the widest stretch without a panel, and show the panels with a
    margin."""
    outlines = [outline(p) for p in f.case.placed]
    spans = sorted((float(a.min()) % _TURN, float(np.ptp(a))) for a, _ in outlines)
    free, cut, end = -1.0, 0.0, spans[0][0]
    for start, width in [*spans, (spans[0][0] + _TURN, 0.0)]:
        if start - end > free:
            free, cut = start - end, 0.5 * (start + end)
        end = max(end, start + width)
    if free <= 0:
        cut = np.pi
    whole = Unrolled(f.case.region, cut, cut + np.pi, (0.0, 0.0), (0.0, 0.0))
    # a panel across the cut keeps its unwrapped outline
    angles = [whole.angle(a[:1]) + a - a[0] for a, _ in outlines]
    levels = np.concatenate([z for _, z in outlines])
    middle = 0.5 * (min(a.min() for a in angles) + max(a.max() for a in angles))
    whole = Unrolled(f.case.region, cut, middle, (0.0, 0.0), (0.0, 0.0))
    arcs = np.concatenate([whole.arc(a, z) for a, (_, z) in zip(angles, outlines, strict=True)])
    least, most = whole.arc(np.array([cut, cut + _TURN]), np.full(2, levels.mean()))
    return Unrolled(
        f.case.region,
        cut,
        middle,
        (max(float(arcs.min()) - _MARGIN_M, float(least)), min(float(arcs.max()) + _MARGIN_M, float(most))),
        (float(levels.min()) - _MARGIN_M, float(levels.max()) + _MARGIN_M),
    )


def hottest_through(f: Forecast, tissue: str) -> Floats:
    """Hottest temperature through skin or fat in each column (nk, nj) at the pictures' time, °C.

    A node between two tissues counts for both, as for the hot spots in words.
    """
    cells = f.field.grid.cells_of(tissue)
    return np.asarray(
        f.history.temperature_c[f.picture][:, :, cells.start : cells.stop + 1].max(axis=2), dtype=np.float64
    )


def draw_map(ax: Axes, f: Forecast, tissue: str, shown: Unrolled, scale: Scale) -> None:
    """Draw one map with the outlines of the panels and the numbers of the hot spots."""
    grid = f.field.grid
    value = hottest_through(f, tissue)
    turns = np.round((shown.cut_rad + np.pi - grid.angle.mean()) / _TURN) + np.array([-1, 0, 1])
    angle = np.concatenate([grid.angle + _TURN * turn for turn in turns], axis=1)
    columns = np.flatnonzero(
        ((angle > shown.cut_rad - 0.1) & (angle < shown.cut_rad + _TURN + 0.1)).any(axis=0)
    )
    angle = angle[:, columns]
    level, value = (np.tile(a, (1, 3))[:, columns] for a in (grid.level, value))
    arc = 1e3 * shown.arc(angle, level)
    up = 1e3 * level
    ax.pcolormesh(arc, up, value, cmap=TEMPERATURE, norm=scale.norm, shading="gouraud", rasterized=True)
    ax.set_xlim(1e3 * shown.arc_m[0], 1e3 * shown.arc_m[1])
    ax.set_ylim(1e3 * shown.level_m[0], 1e3 * shown.level_m[1])
    _isotherms(ax, arc, up, value, f.case.session.band_c if tissue == "fat" else None)
    for placed in f.case.placed:
        edge, height = outline(placed)
        edge = shown.angle(edge[:1]) + edge - edge[0]
        ax.plot(1e3 * shown.arc(edge, height), 1e3 * height, color="white", lw=2.2, alpha=0.6)
        ax.plot(1e3 * shown.arc(edge, height), 1e3 * height, color=INK, lw=1.0)
    for number, spot in enumerate((s for s in f.hottest if s.tissue == tissue), start=1):
        sx, sy, sz = spot.position_m
        at = shown.arc(shown.angle(np.array([np.arctan2(sy, sx)])), np.array([sz]))
        ax.plot(1e3 * at, 1e3 * sz, "o", ms=9, mfc="white", mec=INK, mew=0.7)
        ax.text(1e3 * float(at[0]), 1e3 * sz, str(number), ha="center", va="center_baseline", color=INK)
    ax.set_aspect("equal")
    ax.set_xlabel("along the skin, mm")
    ax.spines[["left", "bottom"]].set_color(HAIR)
    ax.tick_params(color=HAIR)
    _directions(ax, f, shown)


def _isotherms(ax: Axes, arc: Floats, up: Floats, value: Floats, band: tuple[float, float] | None) -> None:
    """A thin line at every degree or every second one; on fat the edges of the band as labelled lines."""
    step = 1 if np.ptp(value) <= 10 else 2
    whole = np.arange(step * np.ceil(value.min() / step), value.max(), step)
    if whole.size > 1:
        ax.contour(arc, up, value, levels=whole, colors="white", linewidths=0.4, alpha=0.5)
    edges = [c for c in band or () if value.min() < c < value.max()]
    if edges:
        ax.contour(arc, up, value, levels=edges, colors="white", linewidths=1.2)
        # labels stand where all of them is seen: on lines that keep away from the map's edge
        inside = ax.contour(arc, up, _well_inside(ax, arc, up, value), levels=edges, linewidths=0)
        for label in ax.clabel(inside, colors="white", fmt="%g °C", fontsize=8, inline=False):
            label.set_path_effects([withStroke(linewidth=1.6, foreground=INK, alpha=0.6)])


def _well_inside(ax: Axes, arc: Floats, up: Floats, value: Floats) -> Floats:
    """The values, NaN where a label in the middle of them could reach past the edge of the map."""
    paper_mm = 25.4 * ax.get_position().width * ax.figure.bbox.width / ax.figure.dpi
    (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
    margin = _HALF_LABEL_MM * (right - left) / paper_mm
    seen = (arc > left + margin) & (arc < right - margin) & (up > low + margin) & (up < high - margin)
    return np.where(seen, value, np.nan)


def _directions(ax: Axes, f: Forecast, shown: Unrolled) -> None:
    """The words front, inner or left, back, outer or right over the map, where they lie on it."""
    trunk = f.case.measurements.kind.trunk
    mid_level = np.array([0.5 * sum(shown.level_m)])
    for quarter in range(4):
        at = float(shown.arc(shown.angle(np.array([quarter * np.pi / 2])), mid_level)[0])
        if shown.arc_m[0] <= at <= shown.arc_m[1]:
            ax.annotate(
                direction_word(quarter * np.pi / 2, trunk),
                (1e3 * at, 1.0),
                xycoords=("data", "axes fraction"),
                xytext=(0, 3),
                textcoords="offset points",
                ha="center",
                va="bottom",
                color=SOFT,
                style="italic",
            )
            ax.plot([1e3 * at] * 2, [0.985, 1.0], transform=ax.get_xaxis_transform(), color=SOFT, lw=0.8)
