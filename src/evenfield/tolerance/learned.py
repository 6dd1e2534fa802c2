"""The heating of placements near the base, learned from some tens that were solved.

What is learned is small and smooth: the logarithm of the heating over that of a one-dimensional stack of gap
and body under each panel. There the current density goes as 1/(c + δ) with the clearance c of the place, over
its mean under the panel, and heating as its square. In the grid's own coordinates, which move with the
panels, the rest is interpolated between the solved placements by Gaussian radial functions (kriging; C. E.
Rasmussen and C. K. I. Williams, *Gaussian Processes for Machine Learning*, 2006, eq. 2.23).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.grid.fit import Grid

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
BEHIND_GAP_M = 3e-3
"""δ: what the body adds to the gap, as air (chosen by trial on one example; 2 to 5 mm do as well)."""
REACH = 4.0
"""Reach of the radial functions, in half-ranges of the parameters."""
NUGGET = 1e-6


@dataclass(frozen=True)
class Kriging:
    """Interpolation of vectors between points in d scaled parameters: `points` (n, d), `mean` (m,), `weights`
    (n, m)."""

    points: Floats
    mean: Floats
    weights: Singles

    @classmethod
    def through(cls, points: Floats, values: Floats) -> Kriging:
        """Through values (n, m) at points (n, d)."""
        kernel = _radial(points, points) + NUGGET * np.eye(len(points))
        mean = values.mean(axis=0)
        return cls(points, mean, np.linalg.solve(kernel, values - mean).astype(np.float32))

    def at(self, point: Floats) -> Floats:
        """The vector (m,) at a point (d,)."""
        return np.asarray(self.mean + _radial(point[None], self.points)[0] @ self.weights)


def _radial(a: Floats, b: Floats) -> Floats:
    squared = ((a[:, None] - b[None]) ** 2).sum(axis=-1)
    return np.asarray(np.exp(-0.5 * squared / REACH**2))


def cell_mean(columns: Floats) -> Floats:
    """Mean over the four columns (nk, nj) around each cell, shape (nk − 1, nj)."""
    pair = columns + np.roll(columns, -1, axis=1)
    return np.asarray(0.25 * (pair[:-1] + pair[1:]))


def nearest_panel(grid: Grid) -> NDArray[np.int64]:
    """Number of the panel that each column of cells (nk − 1, nj) is nearest to, in lines of the layout."""
    nk, nj = grid.shape[0] - 1, grid.shape[1]
    distance = np.empty((len(grid.layout.panels), nk, nj))
    for number, lines in enumerate(grid.layout.panels):
        k, j = np.arange(nk), np.arange(nj)
        along = np.maximum(np.maximum(lines.k0 - k, k - (lines.k1 - 1)), 0)
        inside = (j - lines.j0) % nj
        past = inside - (lines.j1 - 1 - lines.j0)
        around = np.where(past <= 0, 0, np.minimum(past, nj - inside))
        distance[number] = np.hypot(along[:, None], around[None, :])
    return np.asarray(distance.argmin(axis=0))


@dataclass(frozen=True)
class Stack:
    """The one-dimensional stack under bent panels: `log_heating` (nk − 1, nj), the logarithm of its heating
    with each panel's mean current 1, and `log_admittance` of its panels one after the other, of any unit."""

    log_heating: Floats
    log_admittance: float

    @classmethod
    def of(cls, grid: Grid, clearance_m: Floats, nearest: NDArray[np.int64]) -> Stack:
        """From the clearance of the columns (nk, nj), m, and the panel each column of cells is nearest to."""
        conductance = 1.0 / (cell_mean(clearance_m) + BEHIND_GAP_M)
        mean = np.empty(len(grid.layout.panels))
        for number in range(mean.size):
            k, j = grid.panel_cells(number)
            mean[number] = conductance[k, j].mean()
        return cls(np.asarray(2.0 * np.log(conductance / mean[nearest])), -float(np.log(np.sum(1.0 / mean))))
