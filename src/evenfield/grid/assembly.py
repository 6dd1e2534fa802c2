"""Trilinear hexahedral elements on the fitted grid: stiffness stencils, cell volumes, cell-mean squared
gradients.

The weak form is that of −∇·(y∇φ) = 0 with a coefficient y that is constant in each cell:
A_ab = Σ_cells y ∫ ∇N_a·∇N_b dV, integrated with 2x2x2 Gauss points (exact for parallelepipeds; Hughes,
*The Finite Element Method*, 1987, section 3.8). Corners are numbered c = 4 dk + 2 dj + di.
"""

# mypy: disable-error-code="no-untyped-def, untyped-decorator"
from __future__ import annotations

from typing import Any

import numpy as np
from numba import prange
from numpy.typing import NDArray

from evenfield.grid.kernels import fast, fast_parallel

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


_PAIRS = [(a, b) for a in range(8) for b in range(a, 8)]
_LOW = np.array([[c for c in range(8) if not c & (4 >> d)] for d in range(3)])
"""Corners from which the four edges along k, j and i start; an edge along d ends at corner + (4 >> d)."""
_ALONG = np.array([[[abs(_REFERENCE[g, c, d]) for c in _LOW[d]] for d in range(3)] for g in range(8)])
"""Share of each edge in the tangent at each Gauss point, (8 points, 3 directions, 4 edges)."""


def _metric_weights() -> Floats:
    """What the metric's 00, 11, 22, 01, 02, 12 at each Gauss point give to each pair of corners, (8, 36,
    6)."""
    r = _REFERENCE
    out = np.empty((8, len(_PAIRS), 6))
    for n, (a, b) in enumerate(_PAIRS):
        for m in range(3):
            out[:, n, m] = r[:, a, m] * r[:, b, m]
        for m, (d, e) in enumerate(((0, 1), (0, 2), (1, 2))):
            out[:, n, 3 + m] = r[:, a, d] * r[:, b, e] + r[:, a, e] * r[:, b, d]
    return 0.125 * out


_WEIGHTS = _metric_weights()
_PAIR = np.empty((8, 8), dtype=np.int64)
for _n, (_a, _b) in enumerate(_PAIRS):
    _PAIR[_a, _b] = _PAIR[_b, _a] = _n


@fast
def _metric(tangent, metric, volume):
    """|det J| J⁻¹ J⁻ᵀ (6, n) at one Gauss point of each cell from the tangents J (9, n); adds |det J| / 8."""
    for i in range(volume.size):
        a0, a1, a2 = tangent[0, i], tangent[1, i], tangent[2, i]
        b0, b1, b2 = tangent[3, i], tangent[4, i], tangent[5, i]
        c0, c1, c2 = tangent[6, i], tangent[7, i], tangent[8, i]
        u0, u1, u2 = b1 * c2 - b2 * c1, b2 * c0 - b0 * c2, b0 * c1 - b1 * c0
        v0, v1, v2 = c1 * a2 - c2 * a1, c2 * a0 - c0 * a2, c0 * a1 - c1 * a0
        w0, w1, w2 = a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0
        det = abs(a0 * u0 + a1 * u1 + a2 * u2)
        s = 1.0 / det
        volume[i] += 0.125 * det
        metric[0, i] = s * (u0 * u0 + u1 * u1 + u2 * u2)
        metric[1, i] = s * (v0 * v0 + v1 * v1 + v2 * v2)
        metric[2, i] = s * (w0 * w0 + w1 * w1 + w2 * w2)
        metric[3, i] = s * (u0 * v0 + u1 * v1 + u2 * v2)
        metric[4, i] = s * (u0 * w0 + u1 * w1 + u2 * w2)
        metric[5, i] = s * (v0 * w0 + v1 * w1 + v2 * w2)


@fast
def _scratch(n):
    """Edges, tangents, metric and matrix of a line of n cells."""
    return np.empty((12, 3, n)), np.empty((9, n)), np.empty((6, n)), np.empty((36, n))


@fast
def _cells(nodes, k, j, low, along, weights, scratch, volume):
    """∫ ∇N_a·∇N_b dV (36 pairs, n), the last of `scratch`, and volume (n,) of the cells of column (k, j)."""
    nj = nodes.shape[2]
    n = volume.size
    jn = j + 1 if j + 1 < nj else 0
    edge, tangent, metric, cell = scratch
    for d in range(3):
        step = 4 >> d
        for q in range(4):
            c = low[d, q]
            e = c + step
            for x in range(3):
                first = nodes[x, k + (c >> 2), jn if (c >> 1) & 1 else j]
                last = nodes[x, k + (e >> 2), jn if (e >> 1) & 1 else j]
                line = edge[4 * d + q, x]
                i0, i1 = c & 1, e & 1
                for i in range(n):
                    line[i] = last[i + i1] - first[i + i0]
    cell[:] = 0.0
    volume[:] = 0.0
    for g in range(8):
        for d in range(3):
            s0, s1, s2, s3 = along[g, d, 0], along[g, d, 1], along[g, d, 2], along[g, d, 3]
            for x in range(3):
                e0, e1 = edge[4 * d, x], edge[4 * d + 1, x]
                e2, e3 = edge[4 * d + 2, x], edge[4 * d + 3, x]
                line = tangent[3 * d + x]
                for i in range(n):
                    line[i] = s0 * e0[i] + s1 * e1[i] + s2 * e2[i] + s3 * e3[i]
        _metric(tangent, metric, volume)
        for p in range(36):
            line = cell[p]
            t0, t1, t2 = weights[g, p, 0], weights[g, p, 1], weights[g, p, 2]
            t3, t4, t5 = weights[g, p, 3], weights[g, p, 4], weights[g, p, 5]
            for i in range(n):
                line[i] += (
                    t0 * metric[0, i]
                    + t1 * metric[1, i]
                    + t2 * metric[2, i]
                    + t3 * metric[3, i]
                    + t4 * metric[4, i]
                    + t5 * metric[5, i]
                )


@fast
def _couplings_of_layer(nodes, k, low, along, weights, pair, volume, out):
    """What the cells between the levels k and k + 1 give."""
    _, _, nj, ni = nodes.shape
    n = ni - 1
    scratch = _scratch(n)
    cell = scratch[3]
    for j in range(nj):
        _cells(nodes, k, j, low, along, weights, scratch, volume[k, j])
        jn = j + 1 if j + 1 < nj else 0
        for a in range(8):
            ja = jn if (a >> 1) & 1 else j
            for b in range(8):
                way = 3 * ((b >> 2) - (a >> 2) + 1) + ((b >> 1) & 1) - ((a >> 1) & 1) + 1
                above = a & 1
                slot = (b & 1) if above else 2 + (b & 1)
                line = out[k + (a >> 2), ja, way, slot]
                values = cell[pair[a, b]]
                for i in range(n):
                    line[i + above] += values[i]


@fast_parallel
def _couplings(nodes, low, along, weights, pair, volume, out):
    """Even cell layers first, then odd ones, so threads never collide."""
    nk = nodes.shape[1]
    for parity in range(2):
        for half in prange((nk - parity) // 2):
            _couplings_of_layer(nodes, 2 * half + parity, low, along, weights, pair, volume, out)


def couplings(nodes: Floats) -> tuple[Floats, Floats]:
    """What geometry alone gives: couplings of neighbouring nodes, and cell volumes (nk − 1, nj, ni − 1), m³.

    `nodes`: coordinates, shape (3, nk, nj, ni), m. The couplings (nk, nj, 9, 4, ni), m, stand at node i
    towards the neighbours dk, dj (9 = 3 (dk + 1) + dj + 1): to i − 1 and to i by the cells below i, to i and
    to i + 1 by those above. `weighted` makes stencils of them.
    """
    _, nk, nj, ni = nodes.shape
    out, volume = np.zeros((nk, nj, 9, 4, ni)), np.empty((nk - 1, nj, ni - 1))
    _couplings(np.ascontiguousarray(nodes), _LOW, _ALONG, _WEIGHTS, _PAIR, volume, out)
    return out, volume


@fast_parallel
def _weighted(couplings, below, above, out):
    nk, nj, _, ni = out.shape
    for k in prange(nk):
        for j in range(nj):
            for way in range(9):
                c = couplings[k, j, way]
                lower, middle, upper = out[k, j, 3 * way], out[k, j, 3 * way + 1], out[k, j, 3 * way + 2]
                for i in range(ni):
                    lower[i] = below[i] * c[0, i]
                for i in range(ni):
                    middle[i] = below[i] * c[1, i] + above[i] * c[2, i]
                for i in range(ni):
                    upper[i] = above[i] * c[3, i]


def weighted(couplings: Floats, coefficient: NDArray[Any]) -> Stencil:
    """Stencils of −∇·(y∇φ) with natural boundaries on the innermost cells.

    `coefficient`: y of the cells between radial nodes i and i + 1 for as many cells as are wanted, real
    (heat, W/mK) or complex (field, S/m). Returns shape (nk, nj, 27, cells + 1) of the same kind.
    """
    nk, nj, _, _, ni = couplings.shape
    if not 0 < coefficient.size < ni:
        raise ValueError(f"{coefficient.size} coefficients: 1 to {ni - 1} are allowed, one per radial cell")
    dtype = np.result_type(coefficient.dtype, np.float64)
    out = np.empty((nk, nj, 27, coefficient.size + 1), dtype=dtype)
    _weighted(couplings, np.append(0.0, coefficient), np.append(coefficient, 0.0), out)
    return out


def stiffness(nodes: Floats, coefficient: NDArray[Any]) -> Stencil:
    """Stencils of −∇·(y∇φ) with natural boundaries, shape (nk, nj, 27, ni).

    `nodes`: coordinates, shape (3, nk, nj, ni), m. `coefficient`: as in `weighted`, shape (ni − 1,).
    """
    ni = nodes.shape[3]
    if coefficient.shape != (ni - 1,):
        raise ValueError(
            f"coefficient has shape {coefficient.shape}; {(ni - 1,)} is needed, one per radial cell"
        )
    return weighted(couplings(nodes)[0], coefficient)


def cell_volumes(nodes: Floats) -> Floats:
    """Volume of every cell, shape (nk − 1, nj, ni − 1), m³."""
    return couplings(nodes)[1]


@fast
def _squared_gradient_of_layer(nodes, k, low, along, weights, pair, phi, out):
    """Σ_ab φ_a* φ_b ∫ ∇N_a·∇N_b dV over the volume; φ less that of corner 0, where it loses fewer digits."""
    _, _, nj, ni = nodes.shape
    n = ni - 1
    scratch = _scratch(n)
    cell = scratch[3]
    value, total, volume = np.empty((8, n), dtype=phi.dtype), np.empty(n), np.empty(n)
    for j in range(nj):
        _cells(nodes, k, j, low, along, weights, scratch, volume)
        jn = j + 1 if j + 1 < nj else 0
        for c in range(1, 8):
            column = phi[k + (c >> 2), jn if (c >> 1) & 1 else j]
            for i in range(n):
                value[c, i] = column[i + (c & 1)] - phi[k, j, i]
        total[:] = 0.0
        for a in range(1, 8):
            for b in range(a, 8):
                twice = 1.0 if a == b else 2.0
                values = cell[pair[a, b]]
                for i in range(n):
                    u, v = value[a, i], value[b, i]
                    total[i] += twice * values[i] * (u.real * v.real + u.imag * v.imag)
        for i in range(n):
            out[k, j, i] = total[i] / volume[i]


@fast_parallel
def _squared_gradient(nodes, low, along, weights, pair, phi, out):
    for k in prange(out.shape[0]):
        _squared_gradient_of_layer(nodes, k, low, along, weights, pair, phi, out)


def mean_squared_gradient(nodes: Floats, phi: NDArray[Any], cells: int) -> Floats:
    """Volume mean of |∇φ|² in each of the innermost `cells` radial cells, shape (nk − 1, nj, cells), V²/m².

    Integrated with the same Gauss points as the stiffness, so that Σ σ|∇φ|² V equals the operator's own loss.
    """
    _, nk, nj, _ = nodes.shape
    out = np.empty((nk - 1, nj, cells))
    inner = np.ascontiguousarray(nodes[:, :, :, : cells + 1])
    _squared_gradient(inner, _LOW, _ALONG, _WEIGHTS, _PAIR, phi, out)
    return out
