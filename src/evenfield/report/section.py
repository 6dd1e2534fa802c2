"""The cross-section: temperature in skin, fat, muscle and bone or core, in their true shape."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from evenfield.applicator import PlacedPanel
from evenfield.applicator.words import direction_word
from evenfield.forecast import Forecast
from evenfield.report.look import HAIR, INK, SOFT, TEMPERATURE, Scale

Floats = NDArray[np.float64]
_AROUND_MM, _SLIVER_MM = 85.0, 40.0
"""Tissue shown beyond the panels; where no more than a sliver would be cut off, all of it."""
_FRAME_MM, _NAME_MM = (74.0, 44.0), 6.0
"""About the size of the picture on paper, and the room there for a name outside panels and skin."""
_INSIDE, _CORE_NAME = 1.6, 1.2
"""How deep in the body a direction's name stands, and how far from the middle it keeps, in that room."""
_NEAR = 0.8
"""Cosine of the angle within which a panel stands near a direction."""


def section_level_m(f: Forecast) -> float:
    """The panels' centre level: of their levels the one that cuts most panels, nearest to the mean of all."""
    levels = [p.panel.level_m for p in f.case.placed]
    mean = float(np.mean(levels))

    def merit(level: float) -> tuple[int, float]:
        cut = sum(abs(level - p.panel.level_m) < 0.5 * p.panel.length_m for p in f.case.placed)
        return cut, -abs(level - mean)

    return max(levels, key=merit)


def at_level(f: Forecast, level_m: float, quantity: Floats) -> tuple[Floats, Floats, Floats]:
    """x, y (nj + 1, ni + 1) m and the quantity in the plane of a level; closed around and on the axis.

    `quantity` (nk, nj, ni) lies on the body's nodes. Between two level lines all is taken as linear. The
    small hole that the grid leaves round the axis is filled with the mean around it.
    """
    grid = f.field.grid
    ni = quantity.shape[-1]
    radius = np.hypot(grid.nodes[0, :, :, :ni], grid.nodes[1, :, :, :ni])
    columns = np.arange(grid.level.shape[1])
    upper = np.clip((grid.level < level_m).sum(axis=0), 1, grid.level.shape[0] - 1)
    below, above = grid.level[upper - 1, columns], grid.level[upper, columns]
    share = np.clip((level_m - below) / (above - below), 0.0, 1.0)

    def between(values: Floats) -> Floats:
        s = share.reshape(-1, *[1] * (values.ndim - 2))
        return np.asarray((1 - s) * values[upper - 1, columns] + s * values[upper, columns])

    angle, r, q = between(grid.angle), between(radius), between(quantity)
    r = np.concatenate([np.zeros((r.shape[0], 1)), r], axis=1)
    q = np.concatenate([np.full((q.shape[0], 1), q[:, 0].mean()), q], axis=1)
    x, y = r * np.cos(angle)[:, None], r * np.sin(angle)[:, None]
    return tuple(np.concatenate([a, a[:1]]) for a in (x, y, q))  # type: ignore[return-value]


def panel_in_plane(placed: PlacedPanel, level_m: float) -> Floats | None:
    """The line (n, 2) m in which the plane of a level cuts a panel; None if it does not."""
    u, v = placed.mesh(65)
    points = placed.point(u[:, None], v[None, :])
    if not (points[..., 2].min(axis=1) <= level_m).any() or not (points[..., 2].max(axis=1) >= level_m).any():
        return None
    cut = [
        [float(np.interp(level_m, row[:, 2], row[:, axis])) for axis in (0, 1)]
        for row in points
        if row[0, 2] <= level_m <= row[-1, 2]
    ]
    return np.array(cut) if len(cut) > 1 else None


def draw_section(ax: Axes, f: Forecast, scale: Scale) -> None:
    """Draw the section, seen from the feet: front up, left or inner side on the right."""
    level = section_level_m(f)
    x, y, t = at_level(f, level, f.history.temperature_c[f.picture].astype(np.float64))
    x, y = 1e3 * x, 1e3 * y
    ax.pcolormesh(y, x, t, cmap=TEMPERATURE, norm=scale.norm, shading="gouraud", rasterized=True)
    grid = f.field.grid
    for layer in f.case.region.layers:
        edge = grid.cells_of(layer).stop + 1
        ax.plot(y[:, edge], x[:, edge], color="white", lw=1.1, alpha=0.55)
        ax.plot(y[:, edge], x[:, edge], color=INK, lw=0.5)
    corners = [np.empty((0, 2))]
    for placed in f.case.placed:
        line = panel_in_plane(placed, level)
        if line is not None:
            corners.append(1e3 * line)
            _draw_panel(ax, placed, 1e3 * line)
    view = _view(np.concatenate(corners), x, y)
    _name_layers(ax, f, x, y, view)
    _name_directions(ax, f, x, y, view)
    ax.set_xlim(*view[1])
    ax.set_ylim(*view[0])
    ax.set_aspect("equal")
    ax.set_xlabel("mm, seen from the feet")
    ax.spines[["left", "bottom"]].set_color(HAIR)
    ax.tick_params(color=HAIR)
    ax.set_title(f"Cross-section at level {1e3 * level:.0f} mm")


def section_shape(f: Forecast) -> float:
    """Height over width of what `draw_section` shows."""
    level = section_level_m(f)
    x, y, _ = at_level(f, level, f.history.temperature_c[f.picture].astype(np.float64))
    lines = [line for p in f.case.placed if (line := panel_in_plane(p, level)) is not None]
    view = _view(1e3 * np.concatenate(lines), 1e3 * x, 1e3 * y)
    return float(np.ptp(view[0]) / np.ptp(view[1]))


def _view(panels: Floats, x: Floats, y: Floats) -> Floats:
    """What to show, ((x from, to), (y from, to)) mm: the panels with the tissue around them, and no air
    beyond."""
    body = np.array([[x.min(), x.max()], [y.min(), y.max()]])
    span = np.stack([panels.min(axis=0), panels.max(axis=0)], axis=1) if panels.size else body
    low, high = np.minimum(span[:, 0], body[:, 0]), np.maximum(span[:, 1], body[:, 1])
    low = np.where(span[:, 0] - low > _AROUND_MM + _SLIVER_MM, span[:, 0] - _AROUND_MM, low)
    high = np.where(high - span[:, 1] > _AROUND_MM + _SLIVER_MM, span[:, 1] + _AROUND_MM, high)
    view = np.stack([low, high], axis=1)
    wide, high = np.ptp(view[1]), np.ptp(view[0])
    room = _NAME_MM * max(wide / (_FRAME_MM[0] - 2 * _NAME_MM), high / (_FRAME_MM[1] - 2 * _NAME_MM))
    return np.asarray(view + room * np.array([-1.0, 1.0]))


def _draw_panel(ax: Axes, placed: PlacedPanel, line: Floats) -> None:
    """A panel as a thick line with its name outside it."""
    ax.plot(line[:, 1], line[:, 0], color=INK, lw=3.2, solid_capstyle="butt")
    middle = line[len(line) // 2]
    outward = placed.normal[[1, 0]] / np.hypot(*placed.normal[:2])
    ax.annotate(
        placed.panel.name,
        (middle[1], middle[0]),
        xytext=tuple(5.0 * outward),
        textcoords="offset points",
        ha="left" if outward[0] > 0.35 else "right" if outward[0] < -0.35 else "center",
        va="bottom" if outward[1] > 0.35 else "top" if outward[1] < -0.35 else "center",
        rotation=90 if abs(outward[1]) < 0.2 else 0,
        weight="bold",
    )


def _name_directions(ax: Axes, f: Forecast, x: Floats, y: Floats, view: Floats) -> None:
    """Front, back, left or inner, right or outer: outside the skin, or inside it with a panel near."""
    trunk = f.case.measurements.kind.trunk
    skin = {0: (x.max(), 0.0), 1: (0.0, y.max()), 2: (x.min(), 0.0), 3: (0.0, y.min())}
    room = 0.5 * _room(view)
    for quarter, point in skin.items():
        angle = quarter * np.pi / 2
        word, toward = direction_word(angle, trunk), np.round([np.cos(angle), np.sin(angle)])
        near = [p.panel.name for p in f.case.placed if np.cos(p.panel.angle_rad - angle) > _NEAR]
        at = np.clip(np.array(point), view[:, 0] + room, view[:, 1] - room)
        if word in near or abs((at - point) @ toward) > 0:
            continue  # said already, or not in the picture
        deep = min(_INSIDE * _room(view), float(point @ toward) - _CORE_NAME * _room(view))
        at = np.where(toward == 0, at, point + toward * (-deep if near else room))
        ax.text(
            at[1],
            at[0],
            word,
            rotation=90 if quarter % 2 else 0,
            ha="center",
            va="center",
            style="italic",
            color="white" if near else SOFT,
            path_effects=[withStroke(linewidth=1.6, foreground=INK, alpha=0.6)] if near else [],
        )


def _room(view: Floats) -> float:
    """The room for a name in millimetres of the body, as left around by `_view`."""
    return float(_NAME_MM * max(np.ptp(view[1]) / _FRAME_MM[0], np.ptp(view[0]) / _FRAME_MM[1]))


def _name_layers(ax: Axes, f: Forecast, x: Floats, y: Floats, view: Floats) -> None:
    """Names of the layers that are thick enough, at the front or the back, where the picture shows it and no
    other word stands."""
    grid = f.field.grid
    trunk = f.case.measurements.kind.trunk
    for angle in (0.0, np.pi):
        column = int(np.argmax(np.cos(np.arctan2(y[:-1, -1], x[:-1, -1]) - angle)))
        near = [p.panel.name for p in f.case.placed if np.cos(p.panel.angle_rad - angle) > _NEAR]
        shown = view[0, 0] < x[column, -1] < view[0, 1]
        if shown and (not near or direction_word(angle, trunk) in near):
            break
    else:
        column = -1
    for layer in f.case.region.layers:
        cells = grid.cells_of(layer)
        inner, outer = cells.start + 1 if cells.start else 0, cells.stop + 1
        if layer in ("core", "bone"):
            at = (0.0, max(0.0, float(view[0, 0]) + _room(view)))
        elif column < 0 or abs(x[column, outer] - x[column, inner]) < 0.55 * _room(view):
            continue
        else:
            at = (0.5 * (y[column, inner] + y[column, outer]), 0.5 * (x[column, inner] + x[column, outer]))
        ax.text(
            *at,
            layer,
            ha="center",
            va="center",
            color="white",
            clip_on=True,
            path_effects=[withStroke(linewidth=1.6, foreground=INK, alpha=0.6)],
        )
