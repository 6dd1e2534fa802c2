"""Skin and panels in space, as plain data for the page that shows them."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.forecast import Forecast
from evenfield.report.wording import minute_text

AROUND_MM = 90.0
"""How far beyond the panels the skin is shown."""


def surface_of(f: Forecast) -> dict[str, Any]:
    """Skin (nk × nj nodes, closed around) with its temperature and the hottest fat below it at the pictures'
    time, and each panel's two edges across; mm and °C."""
    grid = f.field.grid
    at = grid.skin_node
    panels = [_panel(placed) for placed in f.case.placed]
    heights = [point[2] for points in panels for point in points]
    level = 1e3 * grid.nodes[2, :, 0, at]
    rows = (level > min(heights) - AROUND_MM) & (level < max(heights) + AROUND_MM)
    nodes = 1e3 * grid.nodes[:, :, :, at][:, rows]
    warm = f.history.temperature_c[f.picture][rows]
    fat = grid.cells_of("fat")
    under = warm[:, :, fat.start : fat.stop + 1].max(axis=2)
    return {
        "minute": minute_text(f.minutes[f.picture]),
        "shape": list(nodes.shape[1:]),
        "x": _plain(nodes[0], 1),
        "y": _plain(nodes[1], 1),
        "z": _plain(nodes[2], 1),
        "skin_c": _plain(warm[:, :, at], 2),
        "fat_c": _plain(under, 2),
        "panels": [
            {"name": panel.name, "points": points}
            for panel, points in zip(f.case.panels, panels, strict=True)
        ],
    }


def _panel(placed: Any) -> list[list[float]]:
    """A panel as a strip of points from one long edge to the other, so that a curved one bends."""
    u, v = placed.mesh(9)
    rows = [np.asarray(placed.point(np.asarray(u), np.full_like(u, end))) for end in (v[0], v[-1])]
    return [[round(1e3 * float(x), 1) for x in point] for row in rows for point in row]


def _plain(values: NDArray[Any], digits: int) -> list[float]:
    return [round(float(v), digits) for v in values.ravel()]
