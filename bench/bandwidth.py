"""Bytes that one iteration of the field's solver must move, against what the memory gives in the same run."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from evenfield.field.solve import fixed_potential
from evenfield.grid import kernels, transfer
from evenfield.grid.assembly import stiffness
from evenfield.grid.multigrid import Multigrid
from evenfield.verify.reference_case import PanelCase

STENCIL_PASSES = 5, 7
"""Stencil reads of a V-cycle on the finest grid and on each other but the direct one: radial, angular and
there level lines before and after, and one residual (evenfield.grid.multigrid.Multigrid._cycle)."""


@njit(parallel=True)
def _triad(a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64]) -> None:
    for i in prange(a.size):
        a[i] = b[i] + 0.5 * c[i]


def best_of(action: Callable[[], Any], times: int) -> float:
    """Least wall time of some calls [s], after one that warms up."""
    action()
    least = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        action()
        least = min(least, time.perf_counter() - start)
    return least


def memory_bandwidth() -> float:
    """Triad a = b + s·c on arrays far larger than the cache, counting two reads and one write [bytes/s]."""
    a, b, c = (np.ones(40_000_000) for _ in range(3))
    return 3.0 * a.nbytes / best_of(lambda: _triad(a, b, c), 5)


@dataclass(frozen=True)
class Iteration:
    """One iteration (one operator and one V-cycle): `bytes_moved` at least, `seconds`, and `unknowns`."""

    bytes_moved: float
    seconds: float
    unknowns: int

    @property
    def rate(self) -> float:
        return self.bytes_moved / self.seconds


def iteration(case: PanelCase) -> Iteration:
    """Measure one iteration on the default grid of a case.

    Bytes counted: each stencil read once a pass, and per pass one read of the right-hand side and one read
    and one write of the unknowns. Neighbouring lines are taken to stay in cache, so this is a lower bound.
    """
    grid = case.grid()
    y = np.array([case.materials[name].admittivity for name in grid.layer_of_cell])
    A = stiffness(grid.nodes, y)
    held, value, _ = fixed_potential(grid, case.drives)
    transfer.pin(A, (~held).astype(np.float64))
    cycle = Multigrid(A, ~held, (grid.layout.level, grid.layout.angle))
    x = np.where(held, 0.0, np.random.default_rng(1).standard_normal(held.shape)).astype(np.complex128)
    out = np.empty_like(value)
    seconds = best_of(lambda: kernels.apply(A, x, out), 5) + best_of(lambda: cycle(x), 5)
    levels = cycle._levels[:-1]
    moved = A.nbytes + 2 * x.nbytes
    moved += sum(
        STENCIL_PASSES[depth > 0] * (one.stencil.nbytes + 3 * one.x.nbytes)
        for depth, one in enumerate(levels)
    )
    return Iteration(float(moved), seconds, int((~held).sum()))
