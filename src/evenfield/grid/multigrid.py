"""One V-cycle of geometric multigrid on a 27-point stencil, as a symmetric preconditioner.

Coarsens twofold in angle and level, in one alone where the other couples weakly, and never in radius;
Galerkin coarse stencils, with the coarse nodes that lie on panels held like the fine ones; radial lines
relaxed in four colours, then angular lines, damped, on even and odd levels, then on coarse grids level lines,
forwards before and backwards after the coarse correction, so that the cycle is complex symmetric and may
serve conjugate gradients (Trottenberg, Oosterlee and Schüller, *Multigrid*, 2001, sections 5.1-5.2, 7.8).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu
from threadpoolctl import ThreadpoolController  # type: ignore[import-untyped]

from evenfield.grid import kernels, relaxation, transfer
from evenfield.grid.assembly import Stencil

Array = NDArray[Any]
Lines = tuple[Array, Array]
"""Positions of the level lines (nk,) and of the angle lines (nj,) within one turn, for linear
interpolation."""


DAMPING = np.float32(0.8)
"""Of angular and level lines: those moved at once do not see each other's change."""
WEAK, STRONG = 0.5, 4.0
"""Median coupling of levels over that of angles below which a grid is coarsened in angle alone, and above
which in level alone."""
SMALL = 4000
"""Unknowns that are solved directly."""


@cache
def _libraries() -> ThreadpoolController:
    """The process's threads of dense linear algebra; on the factor's small blocks they would only wait."""
    return ThreadpoolController()


@dataclass
class _Level:
    stencil: Stencil
    free: Array
    radial: Array
    angular: Array
    wrap: Array
    along: Array | None
    x: Array
    b: Array
    r: Array
    weight_k: Array
    weight_j: Array
    by: tuple[int, int] = (1, 1)


def _sparse(stencil: Stencil) -> csc_matrix:
    """The operator as a sparse matrix."""
    nk, nj, _, ni = stencil.shape
    number = np.arange(nk * nj * ni).reshape(nk, nj, ni)
    rows, cols, values = [], [], []
    for m in range(27):
        dk, dj, di = m // 9 - 1, m // 3 % 3 - 1, m % 3 - 1
        here = (slice(max(0, -dk), nk - max(0, dk)), slice(None), slice(max(0, -di), ni - max(0, di)))
        there = (slice(max(0, dk), nk + min(0, dk)), slice(None), slice(max(0, di), ni + min(0, di)))
        rows.append(number[here].ravel())
        cols.append(np.roll(number, -dj, axis=1)[there].ravel())
        values.append(stencil[:, :, m][here].ravel())
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(cols)))
    return csc_matrix(entries, shape=(number.size, number.size))


def _lower_weight(padded: Array) -> Array:
    """Weight of the lower neighbour in linear interpolation to each line but the padding's."""
    span = padded[2:] - padded[:-2]
    return ((padded[2:] - padded[1:-1]) / np.where(span > 0, span, 1.0)).astype(np.float32)


def coarsened_by(stencil: Stencil) -> tuple[int, int]:
    """How much coarser the next grid is in level and in angle, 1 or 2; (1, 1) if this one is the coarsest.

    Between each two coarse lines lies one; angles stay even in number for the colours of radial lines. Where
    cells are long in level and thin in angle, as far from the panels near the axis, an error that is smooth
    in angle and alternates in level is hardly relaxed, and a grid coarser in level does not hold it; the same
    holds for cells long in angle.
    """
    nk, nj, _, ni = stencil.shape
    level = 2 if nk % 2 == 1 and nk >= 5 else 1
    angle = 2 if nj % 4 == 0 and nj >= 8 else 1
    if level == angle == 2:
        along = np.abs(stencil[:, :, 18:27].sum(axis=2))
        around = np.abs(stencil[:, :, [6, 7, 8, 15, 16, 17, 24, 25, 26]].sum(axis=2))
        ratio = np.median(along / np.maximum(around, np.finfo(np.float32).tiny))
        if ratio < WEAK:
            level = 1
        elif ratio > STRONG:
            angle = 1
    elif nk * nj * ni <= SMALL:
        return 1, 1
    return level, angle


class Multigrid:
    """V-cycle for the operator `stencil` (shape (nk, nj, 27, ni)); unknowns are where `free` is true.

    Rows and columns of fixed nodes must already be those of the identity. `levels=1` keeps only the line
    relaxation, enough where the diagonal dominates (short time steps). `reach`: how many of the innermost
    radial nodes get angular lines; cells are thin in angle near the axis. Works in single precision.
    """

    def __init__(
        self,
        stencil: Stencil,
        free: NDArray[np.bool_],
        lines: Lines,
        *,
        levels: int | None = None,
        reach: int | None = None,
    ) -> None:
        single = np.complex64 if np.iscomplexobj(stencil) else np.float32
        self._reach = stencil.shape[3] if reach is None else reach
        self._levels: list[_Level] = []
        fine, mask = stencil.astype(single), free.astype(np.float32)
        while True:
            top = self._level(fine, mask, lines)
            self._levels.append(top)
            if levels is not None and len(self._levels) >= levels:
                break
            top.by = bk, bj = coarsened_by(fine)
            if (bk, bj) == (1, 1):
                break
            nk, nj, _, ni = fine.shape
            coarse = np.empty(((nk + bk - 1) // bk, nj // bj, 27, ni), dtype=single)
            transfer.galerkin(fine, mask, bk, bj, top.weight_k, top.weight_j, coarse)
            mask = np.ascontiguousarray(mask[::bk, ::bj])
            if not mask.all():
                transfer.pin(coarse, mask)
            fine, lines = coarse, (lines[0][::bk], lines[1][::bj])
        self._direct = None
        if len(self._levels) > 1:
            coarsest = _sparse(self._levels[-1].stencil)
            with _libraries().limit(limits=1, user_api="blas"):
                self._direct = splu(coarsest, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})

    def _level(self, stencil: Stencil, free: Array, lines: Lines) -> _Level:
        nk, nj, _, ni = stencil.shape
        level_lines, angle_lines = lines
        radial, angular, wrap, x, b, r = (np.zeros((nk, nj, ni), dtype=stencil.dtype) for _ in range(6))
        level = _Level(
            stencil,
            free,
            radial,
            angular,
            wrap,
            np.zeros_like(radial) if self._levels else None,
            x,
            b,
            r,
            weight_k=_lower_weight(np.concatenate([level_lines[:1], level_lines, level_lines[-1:]])),
            weight_j=_lower_weight(
                np.concatenate([angle_lines[-1:] - 2 * np.pi, angle_lines, angle_lines[:1] + 2 * np.pi])
            ),
        )
        relaxation.factor_radial(stencil, level.radial, 0)
        relaxation.factor_angular(stencil, level.angular, level.wrap)
        if level.along is not None:
            relaxation.factor_level(stencil, level.along)
        return level

    def __call__(self, residual: Array) -> Array:
        """Approximate solution of A x = residual, shape (nk, nj, ni), in the residual's precision."""
        top = self._levels[0]
        # scaled, so that single precision never underflows
        scale = float(np.max(np.abs(residual)))
        if scale == 0.0:
            return np.zeros_like(residual)
        np.multiply(residual, 1.0 / scale, out=top.b, casting="same_kind")
        self._cycle(0)
        return top.x.astype(residual.dtype) * scale

    def _cycle(self, depth: int) -> None:
        level = self._levels[depth]
        if depth == len(self._levels) - 1 and self._direct is not None:
            level.x[:] = self._direct.solve(level.b.ravel()).reshape(level.x.shape)
            return
        for colour in range(4):  # from zero
            relaxation.relax_radial(level.stencil, level.radial, level.x, level.b, colour, colour - 1)
        for parity in (0, 1):
            self._relax_angular(level, parity)
        for parity in (0, 1):
            self._relax_level(level, parity)
        if depth + 1 < len(self._levels):
            below = self._levels[depth + 1]
            kernels.residual(level.stencil, level.x, level.b, level.r)
            transfer.restrict(level.r, *level.by, level.weight_k, level.weight_j, below.b)
            below.b *= below.free
            self._cycle(depth + 1)
            transfer.prolong_add(below.x, *level.by, level.free, level.weight_k, level.weight_j, level.x)
        for parity in (1, 0):
            self._relax_level(level, parity)
        for parity in (1, 0):
            self._relax_angular(level, parity)
        for colour in (3, 2, 1, 0):
            relaxation.relax_radial(level.stencil, level.radial, level.x, level.b, colour, 3)

    def _relax_angular(self, level: _Level, parity: int) -> None:
        if self._reach:
            relaxation.relax_angular(
                level.stencil, level.angular, level.wrap, level.x, level.b, self._reach, DAMPING, parity
            )

    def _relax_level(self, level: _Level, parity: int) -> None:
        if level.along is not None:
            relaxation.relax_level(level.stencil, level.along, level.x, level.b, DAMPING, parity)
