"""Grids made by hand for problems with an answer on paper, solved with evenfield's own solver."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from evenfield.grid import kernels, transfer
from evenfield.grid.assembly import cell_volumes, mean_squared_gradient, stiffness
from evenfield.grid.krylov import solve
from evenfield.grid.multigrid import Multigrid

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True)
class HandGrid:
    """A straight cylinder of concentric layers: `nodes` (3, nk, nj, ni) [m], `angle` (nj,), `level` (nk,),
    `radius` (ni,), `admittivity` (ni − 1,) [S/m]."""

    nodes: Floats
    angle: Floats
    level: Floats
    radius: Floats
    admittivity: Complexes

    def solve(self, inner: Floats | None, outer: Floats | Complexes) -> Complexes:
        """Potential (nk, nj, ni) with the outermost nodes held at `outer` (nj,) [V].

        The innermost are held at `inner`, or no current flows through the inner surface if that is None.
        """
        shape = self.nodes.shape[1:]
        held = np.zeros(shape, dtype=bool)
        value = np.zeros(shape, dtype=np.complex128)
        held[:, :, -1], value[:, :, -1] = True, outer
        if inner is not None:
            held[:, :, 0], value[:, :, 0] = True, inner
        A = stiffness(self.nodes, self.admittivity)
        b = np.empty_like(value)
        kernels.apply(A, value, b)
        free = (~held).astype(np.float64)
        np.multiply(b, -free, out=b)
        transfer.pin(A, free)
        precondition = Multigrid(A, ~held, (self.level, self.angle))
        return np.asarray(solve(A, b, precondition, tolerance=1e-10).x + value)

    def loss_between(self, potential: Complexes, bounds: Sequence[float]) -> Floats:
        """Loss [W per metre of length] between each two radii of `bounds`, which must be node radii."""
        square = mean_squared_gradient(self.nodes, potential, self.admittivity.size)
        power = square * self.admittivity.real * cell_volumes(self.nodes)
        per_cell = power.sum(axis=(0, 1)) / (self.level[-1] - self.level[0])
        middle = 0.5 * (self.radius[1:] + self.radius[:-1])
        return np.array([per_cell[(middle > a) & (middle < b)].sum() for a, b in pairwise(bounds)])


def concentric(
    bounds: Sequence[float], admittivity: Sequence[complex], cells: Sequence[int], around: int, along: int = 4
) -> HandGrid:
    """Equal cells in each layer: `bounds` (L + 1,) [m], `admittivity` and `cells` (L,), `around` angles."""
    layers = zip(bounds[:-1], bounds[1:], cells, strict=True)
    radius = np.concatenate([*(np.linspace(a, b, n + 1)[:-1] for a, b, n in layers), [bounds[-1]]])
    y = np.repeat(np.asarray(admittivity, dtype=np.complex128), cells)
    angle = np.arange(around) * 2.0 * np.pi / around
    level = np.linspace(0.0, 0.1, along + 1)
    shape = (level.size, angle.size, radius.size)
    nodes = np.stack(
        [
            np.broadcast_to(np.cos(angle)[:, None] * radius, shape),
            np.broadcast_to(np.sin(angle)[:, None] * radius, shape),
            np.broadcast_to(level[:, None, None], shape),
        ]
    )
    return HandGrid(np.ascontiguousarray(nodes), angle, level, radius, y)
