"""Trilinear hexahedral elements on the fitted grid: stiffness stencils, cell volumes, cell-mean squared
gradients.

The weak form is that of −∇·(y∇φ) = 0 with a coefficient y that is constant in each cell:
A_ab = Σ_cells y ∫ ∇N_a·∇N_b dV, integrated with 2x2x2 Gauss points (exact for parallelepipeds; Hughes,
*The Finite Element Method*, 1987, section 3.8). Corners are numbered c = 4 dk + 2 dj + di.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from evenfield.grid.kernels import EXACT_ORDER

Floats = NDArray[np.float64]
Stencil = NDArray[Any]
"""Shape (nk, nj, 27, ni), real or complex."""

CENTRE = 13
"""Index of a stencil's diagonal."""

_GAUSS = 0.5 / np.sqrt(3.0)


def _reference_gradients() -> Floats:
    """Gradients of the eight shape functions at the eight Gauss points, shape (8 points, 8 corners, 3 = k, j,
    i)."""
    bits = np.array([[(c >> 2) & 1, (c >> 1) & 1, c & 1] for c in range(8)], dtype=float)
    points = 0.5 + _GAUSS * (2.0 * bits - 1.0)
    out = np.empty((8, 8, 3))
    for g, p in enumerate(points):
        for c, b in enumerate(bits):
            factor = np.where(b == 1.0, p, 1.0 - p)
            slope = np.where(b == 1.0, 1.0, -1.0)
            for d in range(3):
                others = [e for e in range(3) if e != d]
                out[g, c, d] = slope[d] * factor[others[0]] * factor[others[1]]
    return out


_REFERENCE = _reference_gradients()
_OFFSET = np.array(
    [
        [
            9 * (((b >> 2) & 1) - ((a >> 2) & 1) + 1)
            + 3 * (((b >> 1) & 1) - ((a >> 1) & 1) + 1)
            + ((b & 1) - (a & 1) + 1)
            for b in range(8)
        ]
        for a in range(8)
    ],
    dtype=np.int64,
)
"""Stencil position of corner b seen from corner a of the same cell."""


@njit(cache=True, fastmath=EXACT_ORDER, inline="always")
def _corners(nodes, k, j, jn, i, xyz):  # type: ignore[no-untyped-def]
    for d in range(3):
        xyz[0, d] = nodes[d, k, j, i]
        xyz[1, d] = nodes[d, k, j, i + 1]
        xyz[2, d] = nodes[d, k, jn, i]
        xyz[3, d] = nodes[d, k, jn, i + 1]
        xyz[4, d] = nodes[d, k + 1, j, i]
        xyz[5, d] = nodes[d, k + 1, j, i + 1]
        xyz[6, d] = nodes[d, k + 1, jn, i]
        xyz[7, d] = nodes[d, k + 1, jn, i + 1]


@njit(cache=True, fastmath=EXACT_ORDER)
def _gradients(xyz, ref, grad):  # type: ignore[no-untyped-def]
    """Physical gradients (8, 3) of the shape functions at one Gauss point; returns the Jacobian
    determinant."""
    a00 = a01 = a02 = a10 = a11 = a12 = a20 = a21 = a22 = 0.0
    for c in range(8):
        r0 = ref[c, 0]
        r1 = ref[c, 1]
        r2 = ref[c, 2]
        x = xyz[c, 0]
        y = xyz[c, 1]
        z = xyz[c, 2]
        a00 += r0 * x
        a01 += r0 * y
        a02 += r0 * z
        a10 += r1 * x
        a11 += r1 * y
        a12 += r1 * z
        a20 += r2 * x
        a21 += r2 * y
        a22 += r2 * z
    c00 = a11 * a22 - a12 * a21
    c01 = a12 * a20 - a10 * a22
    c02 = a10 * a21 - a11 * a20
    det = a00 * c00 + a01 * c01 + a02 * c02
    s = 1.0 / det
    c00 *= s
    c01 *= s
    c02 *= s
    c10 = (a02 * a21 - a01 * a22) * s
    c11 = (a00 * a22 - a02 * a20) * s
    c12 = (a01 * a20 - a00 * a21) * s
    c20 = (a01 * a12 - a02 * a11) * s
    c21 = (a02 * a10 - a00 * a12) * s
    c22 = (a00 * a11 - a01 * a10) * s
    for c in range(8):
        r0 = ref[c, 0]
        r1 = ref[c, 1]
        r2 = ref[c, 2]
        grad[c, 0] = c00 * r0 + c10 * r1 + c20 * r2
        grad[c, 1] = c01 * r0 + c11 * r1 + c21 * r2
        grad[c, 2] = c02 * r0 + c12 * r1 + c22 * r2
    return abs(det)


@njit(cache=True, fastmath=EXACT_ORDER, parallel=True)
def _stiffness(nodes, ref, offset, coefficient, out):  # type: ignore[no-untyped-def]
    """Add every cell's matrix to the stencils; even cell layers first, then odd ones, so threads never
    collide."""
    _, nk, nj, ni = nodes.shape
    for parity in range(2):
        for half in prange((nk - parity) // 2):
            k = 2 * half + parity
            xyz = np.empty((8, 3))
            grad = np.empty((8, 3))
            m = np.empty((8, 8))
            for j in range(nj):
                jn = j + 1 if j + 1 < nj else 0
                for i in range(ni - 1):
                    _corners(nodes, k, j, jn, i, xyz)
                    m[:] = 0.0
                    for g in range(8):
                        w = 0.125 * _gradients(xyz, ref[g], grad)
                        for a in range(8):
                            g0 = w * grad[a, 0]
                            g1 = w * grad[a, 1]
                            g2 = w * grad[a, 2]
                            for b in range(a, 8):
                                m[a, b] += g0 * grad[b, 0] + g1 * grad[b, 1] + g2 * grad[b, 2]
                    y = coefficient[i]
                    for a in range(8):
                        for b in range(a, 8):
                            v = y * m[a, b]
                            ja = jn if (a >> 1) & 1 else j
                            out[k + (a >> 2), ja, offset[a, b], i + (a & 1)] += v
                            if b > a:
                                jb = jn if (b >> 1) & 1 else j
                                out[k + (b >> 2), jb, offset[b, a], i + (b & 1)] += v


def stiffness(nodes: Floats, coefficient: NDArray[Any]) -> Stencil:
    """Stencils of −∇·(y∇φ) with natural boundaries.

    `nodes`: coordinates, shape (3, nk, nj, ni), m. `coefficient`: y of the cells between radial nodes i and
    i+1, shape (ni − 1,), real (heat, W/mK) or complex (field, S/m). Returns shape (nk, nj, 27, ni) of the
    same kind.
    """
    _, nk, nj, ni = nodes.shape
    if coefficient.shape != (ni - 1,):
        raise ValueError(
            f"coefficient has shape {coefficient.shape}; {(ni - 1,)} is needed, one per radial cell"
        )
    out = np.zeros((nk, nj, 27, ni), dtype=np.result_type(coefficient.dtype, np.float64))
    _stiffness(nodes, _REFERENCE, _OFFSET, np.ascontiguousarray(coefficient, dtype=out.dtype), out)
    return out


@njit(cache=True, fastmath=EXACT_ORDER, parallel=True)
def _volumes(nodes, ref, out):  # type: ignore[no-untyped-def]
    _, nk, nj, ni = nodes.shape
    for k in prange(nk - 1):
        xyz = np.empty((8, 3))
        grad = np.empty((8, 3))
        for j in range(nj):
            jn = j + 1 if j + 1 < nj else 0
            for i in range(ni - 1):
                _corners(nodes, k, j, jn, i, xyz)
                v = 0.0
                for g in range(8):
                    v += 0.125 * _gradients(xyz, ref[g], grad)
                out[k, j, i] = v


def cell_volumes(nodes: Floats) -> Floats:
    """Volume of every cell, shape (nk − 1, nj, ni − 1), m³."""
    _, nk, nj, ni = nodes.shape
    out = np.empty((nk - 1, nj, ni - 1))
    _volumes(nodes, _REFERENCE, out)
    return out


@njit(cache=True, fastmath=EXACT_ORDER, parallel=True)
def _squared_gradient(nodes, ref, phi, cells, out):  # type: ignore[no-untyped-def]
    _, nk, nj, _ = nodes.shape
    for k in prange(nk - 1):
        xyz = np.empty((8, 3))
        grad = np.empty((8, 3))
        value = np.empty(8, dtype=phi.dtype)
        for j in range(nj):
            jn = j + 1 if j + 1 < nj else 0
            for i in range(cells):
                _corners(nodes, k, j, jn, i, xyz)
                for c in range(8):
                    value[c] = phi[k + (c >> 2), jn if (c >> 1) & 1 else j, i + (c & 1)]
                total = 0.0
                volume = 0.0
                for g in range(8):
                    w = _gradients(xyz, ref[g], grad)
                    e0 = value[0] * grad[0, 0]
                    e1 = value[0] * grad[0, 1]
                    e2 = value[0] * grad[0, 2]
                    for c in range(1, 8):
                        e0 += value[c] * grad[c, 0]
                        e1 += value[c] * grad[c, 1]
                        e2 += value[c] * grad[c, 2]
                    total += w * (
                        e0.real * e0.real
                        + e0.imag * e0.imag
                        + e1.real * e1.real
                        + e1.imag * e1.imag
                        + e2.real * e2.real
                        + e2.imag * e2.imag
                    )
                    volume += w
                out[k, j, i] = total / volume


def mean_squared_gradient(nodes: Floats, phi: NDArray[Any], cells: int) -> Floats:
    """Volume mean of |∇φ|² in each of the innermost `cells` radial cells, shape (nk − 1, nj, cells), V²/m².

    Integrated with the same Gauss points as the stiffness, so that Σ σ|∇φ|² V equals the operator's own loss.
    """
    _, nk, nj, _ = nodes.shape
    out = np.empty((nk - 1, nj, cells))
    _squared_gradient(nodes, _REFERENCE, phi, cells, out)
    return out
