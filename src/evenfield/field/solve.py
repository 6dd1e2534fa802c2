"""Solve ∇·(y∇φ) = 0 on the fitted grid with the panels held at their drives, and derive the heating.

Quasi-static: magnetic induction is neglected (measured error: docs/quasi_static.md).
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.grid import kernels, transfer
from evenfield.grid.assembly import mean_squared_gradient, weighted
from evenfield.grid.fit import Grid
from evenfield.grid.krylov import Solution, solve
from evenfield.grid.multigrid import Lines, Multigrid

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

RESIDUAL = 1e-8
"""Default relative residual over the free unknowns."""


@dataclass(frozen=True)
class Material:
    """Admittivity y (S/m) and density (kg/m³) of one layer at the field's frequency."""

    admittivity: complex
    density: float


@dataclass(frozen=True)
class Numerics:
    """How a field was computed. `history`: relative residual over the free unknowns, iteration by
    iteration."""

    unknowns: int
    iterations: int
    history: tuple[float, ...]
    seconds: float


@dataclass(frozen=True)
class Field:
    """Field of one placement at half a volt times the drives.

    `potential` (nk, nj, ni) V rms. `heating`: power density in the body's cells per watt absorbed, shape
    (nk − 1, nj, skin_node), 1/m³ (W/m³ per W). `sar`: the same per mass, 1/kg. `admittance_s`: between panels
    of drive +1 and −1. `absorbed_w`: power lost in tissue for this potential. `share`: of it, per layer.
    `energy_closure`: |power at the panels − power lost in tissue| over power at the panels.
    """

    grid: Grid
    potential: Complexes
    heating: Floats
    sar: Floats
    admittance_s: complex
    absorbed_w: float
    share: Mapping[str, float]
    energy_closure: float
    surroundings_return: bool
    numerics: Numerics


def fixed_potential(grid: Grid, drives: Sequence[float]) -> tuple[NDArray[np.bool_], Complexes, bool]:
    """Which nodes are held, their potentials (half a volt times drive), and whether the surroundings
    return."""
    held = np.zeros(grid.shape, dtype=bool)
    value = np.zeros(grid.shape, dtype=np.complex128)
    for number, drive in enumerate(drives):
        k, j = grid.panel_nodes(number)
        held[k, j, grid.panel_node] = True
        value[k, j, grid.panel_node] = 0.5 * drive
    returned = one_sign(drives)
    if returned:
        held[:, :, -1] = True
    return held, value, returned


def one_sign(drives: Sequence[float]) -> bool:
    """Whether the current must come back through the surroundings, since no panel has another sign."""
    same = min(drives) >= 0.0 or max(drives) <= 0.0
    return same and not (min(drives) == 0.0 and len(drives) > 1)


def _reaction(rows: Complexes, phi: Complexes, i: int) -> Complexes:
    """(A φ) at all nodes of radial level i, from that level's stencils `rows` (nk, nj, 27)."""
    nk = phi.shape[0]
    out = np.zeros(phi.shape[:2], dtype=np.complex128)
    for m in range(27):
        dk, dj, di = m // 9 - 1, m // 3 % 3 - 1, m % 3 - 1
        if not 0 <= i + di < phi.shape[2]:
            continue
        here = slice(max(0, -dk), nk - max(0, dk))
        there = slice(max(0, dk), nk + min(0, dk))
        out[here] += rows[here, :, m] * np.roll(phi[:, :, i + di], -dj, axis=1)[there]
    return out


def solve_field(
    grid: Grid,
    materials: Mapping[str, Material],
    drives: Sequence[float],
    *,
    start: Complexes | None = None,
    residual: float = RESIDUAL,
) -> Field:
    """Solve for the panels' drives. `materials` has every layer of the grid and "air"; `start`: a first
    guess.

    Raises ValueError for drives that give no field, `NotConverged` if the residual is not reached.
    """
    if len(drives) != len(grid.layout.panels):
        raise ValueError(f"{len(drives)} drives for {len(grid.layout.panels)} panels")
    if all(d == 0.0 for d in drives):
        raise ValueError("panel.drive: all are 0; at least one panel must be driven")
    began = time.perf_counter()
    y = np.array([materials[name].admittivity for name in grid.layer_of_cell], dtype=np.complex128)
    A = weighted(grid.couplings, y)
    held, value, surroundings = fixed_potential(grid, drives)
    panel_rows = A[:, :, :, grid.panel_node].copy()
    solution = _solve_held(A, held, value, start, residual, (grid.layout.level, grid.layout.angle))
    phi = solution.x

    panel_current = _reaction(panel_rows, phi, grid.panel_node)
    on_panel = held[:, :, grid.panel_node]
    apparent = complex(np.sum(value[:, :, grid.panel_node][on_panel] * panel_current[on_panel]))
    span = 0.5 * (max([*drives, 0.0]) - min([*drives, 0.0]) if surroundings else max(drives) - min(drives))
    if span == 0.0:
        raise ValueError("panel.drive: all panels have the same drive, so no current flows between them")

    body = grid.skin_node
    squared = mean_squared_gradient(grid.nodes, phi, body)
    loss = squared * y[:body].real
    power = loss * grid.volume[:, :, :body]
    total = float(power.sum())
    density = np.array([materials[name].density for name in grid.layer_of_cell[:body]])
    heating = loss / total
    layers = list(dict.fromkeys(grid.layer_of_cell[:body]))
    share = {name: float(power[:, :, grid.cells_of(name)].sum()) / total for name in layers}
    return Field(
        grid=grid,
        potential=phi,
        heating=heating,
        sar=heating / density,
        admittance_s=apparent / span**2,
        absorbed_w=total,
        share=share,
        energy_closure=abs(apparent.real - total) / apparent.real,
        surroundings_return=surroundings,
        numerics=Numerics(
            unknowns=int(held.size - held.sum()),
            iterations=solution.iterations,
            history=solution.history,
            seconds=time.perf_counter() - began,
        ),
    )


def _solve_held(
    A: NDArray[Any],
    held: NDArray[np.bool_],
    value: Complexes,
    start: Complexes | None,
    residual: float,
    lines: Lines,
) -> Solution:
    """Solve with held nodes; A is overwritten. The returned x contains the held values."""
    free = (~held).astype(np.float64)
    b = np.empty_like(value)
    kernels.apply(A, value, b)
    np.multiply(b, -free, out=b)
    transfer.pin(A, free)
    guess = None if start is None else start * free
    solution = solve(A, b, Multigrid(A, ~held, lines), tolerance=residual, start=guess)
    return Solution(solution.x + value, solution.history)
