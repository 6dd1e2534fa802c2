"""Compiled relaxation of radial, angular and level lines of a 27-point stencil, each solved for itself.

Colour of a radial line: 2 (k mod 2) + (j mod 2); nj is even.
"""

# mypy: disable-error-code="no-untyped-def, untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import prange

from evenfield.grid.kernels import add_line, fast, fast_parallel, line_residual


@fast
def _inverse(z):
    """1/z, real or complex: quicker than complex division, which guards against overflow."""
    return z.conjugate() * (1.0 / (z.real * z.real + z.imag * z.imag))


@fast
def _down(row, before, low, pivot, n):
    """One line of the forward half of Thomas's algorithm, on n systems side by side."""
    for i in range(n):
        row[i] = (row[i] - low[i] * before[i]) * pivot[i]


@fast
def _up(row, after, up, pivot, n):
    """One line of its backward half."""
    for i in range(n):
        row[i] -= pivot[i] * up[i] * after[i]


@fast_parallel
def factor_radial(A, inverse, begin):
    """Inverse pivots of every radial line's tridiagonal matrix from node `begin` on (Thomas algorithm), shape
    (nk, nj, ni)."""
    nk, nj, _, ni = A.shape
    for k in prange(nk):
        for j in range(nj):
            inverse[k, j, begin] = _inverse(A[k, j, 13, begin])
            for i in range(begin + 1, ni):
                lower = A[k, j, 12, i]
                pivot = A[k, j, 13, i] - lower * A[k, j, 14, i - 1] * inverse[k, j, i - 1]
                inverse[k, j, i] = _inverse(pivot)


@fast_parallel
def relax_radial(A, inverse, x, b, colour, known):
    """Solve all radial lines of one colour for themselves, the rest held; lines of a colour above `known`
    count as zero and are not read."""
    nk, nj, _, ni = A.shape
    pk = colour // 2
    pj = colour % 2
    for half in prange((nk - pk + 1) // 2):
        k = 2 * half + pk
        r = np.empty(ni, dtype=x.dtype)
        for j in range(pj, nj, 2):
            for i in range(ni):
                r[i] = 0.0
            for dk in range(-1, 2):
                if k + dk < 0 or k + dk >= nk:
                    continue
                for dj in range(-1, 2):
                    of = 2 * ((pk + dk) & 1) + ((pj + dj) & 1)
                    if of == colour or of > known:
                        continue
                    m = 9 * (dk + 1) + 3 * (dj + 1)
                    add_line(A[k, j, m : m + 3], x[k + dk, (j + dj + nj) % nj], r, ni)
            out = x[k, j]
            p = inverse[k, j]
            low = A[k, j, 12]
            up = A[k, j, 14]
            out[0] = (b[k, j, 0] - r[0]) * p[0]
            for i in range(1, ni):
                out[i] = (b[k, j, i] - r[i] - low[i] * out[i - 1]) * p[i]
            for i in range(ni - 2, -1, -1):
                out[i] -= p[i] * up[i] * out[i + 1]


@fast_parallel
def factor_angular(A, inverse, wrap):
    """Factors of the periodic tridiagonal matrix of every angular line (k, i).

    Sherman-Morrison on the corner entries (Press et al., *Numerical Recipes*, section 2.7.2): `inverse` holds
    the inverse pivots, `wrap` the solution for the corner vector already divided by its denominator; as many
    of the innermost radial nodes as they have.
    """
    nk, nj, ni = inverse.shape
    for k in prange(nk):
        for i in range(ni):
            gamma = -A[k, 0, 13, i]
            corner = A[k, 0, 10, i]  # dj = -1 of the first line: couples to the last
            first = A[k, 0, 13, i] - gamma
            last = A[k, nj - 1, 13, i] - corner * corner * _inverse(gamma)
            inverse[k, 0, i] = _inverse(first)
            for j in range(1, nj):
                d = A[k, j, 13, i]
                if j == nj - 1:
                    d = last
                inverse[k, j, i] = _inverse(d - A[k, j, 10, i] * A[k, j - 1, 16, i] * inverse[k, j - 1, i])
            # solve T z = u, u = (gamma, 0, ..., 0, corner)
            wrap[k, 0, i] = gamma * inverse[k, 0, i]
            for j in range(1, nj):
                u = corner if j == nj - 1 else 0.0 * corner
                wrap[k, j, i] = (u - A[k, j, 10, i] * wrap[k, j - 1, i]) * inverse[k, j, i]
            for j in range(nj - 2, -1, -1):
                wrap[k, j, i] -= inverse[k, j, i] * A[k, j, 16, i] * wrap[k, j + 1, i]
            share = corner * _inverse(gamma)
            scale = _inverse(1.0 + wrap[k, 0, i] + share * wrap[k, nj - 1, i])
            for j in range(nj):
                wrap[k, j, i] *= scale


@fast_parallel
def relax_angular(A, inverse, wrap, x, b, reach, damping, parity):
    """Move the angular lines (k, i < reach) of the levels of one parity by `damping` times the way to their
    own solution, all lines of a level at once, the rest held."""
    nk, nj, _, _ = A.shape
    for half in prange((nk - parity + 1) // 2):
        k = 2 * half + parity
        r = np.empty((nj, reach), dtype=x.dtype)
        for j in range(nj):
            line_residual(A, x, b, k, j, r[j], reach)
        for i in range(reach):
            r[0, i] *= inverse[k, 0, i]
        for j in range(1, nj):
            _down(r[j], r[j - 1], A[k, j, 10], inverse[k, j], reach)
        for j in range(nj - 2, -1, -1):
            _up(r[j], r[j + 1], A[k, j, 16], inverse[k, j], reach)
        for i in range(reach):
            share = -A[k, 0, 10, i] * _inverse(A[k, 0, 13, i])
            f = r[0, i] + share * r[nj - 1, i]
            for j in range(nj):
                x[k, j, i] += damping * (r[j, i] - f * wrap[k, j, i])


@fast_parallel
def factor_level(A, inverse):
    """Inverse pivots of every level line's tridiagonal matrix (Thomas algorithm), shape (nk, nj, ni)."""
    nk, nj, _, ni = A.shape
    for j in prange(nj):
        for i in range(ni):
            inverse[0, j, i] = _inverse(A[0, j, 13, i])
        for k in range(1, nk):
            for i in range(ni):
                lower = A[k, j, 4, i]
                pivot = A[k, j, 13, i] - lower * A[k - 1, j, 22, i] * inverse[k - 1, j, i]
                inverse[k, j, i] = _inverse(pivot)


@fast_parallel
def relax_level(A, inverse, x, b, damping, parity):
    """Move the level lines (j, i) of the angles of one parity by `damping` times the way to their own
    solution, all lines of an angle at once, the rest held; nj is even."""
    nk, nj, _, ni = A.shape
    for half in prange(nj // 2):
        j = 2 * half + parity
        r = np.empty((nk, ni), dtype=x.dtype)
        for k in range(nk):
            line_residual(A, x, b, k, j, r[k], ni)
        for i in range(ni):
            r[0, i] *= inverse[0, j, i]
        for k in range(1, nk):
            _down(r[k], r[k - 1], A[k, j, 4], inverse[k, j], ni)
        for k in range(nk - 2, -1, -1):
            _up(r[k], r[k + 1], A[k, j, 22], inverse[k, j], ni)
        for k in range(nk):
            for i in range(ni):
                x[k, j, i] += damping * r[k, i]


@fast_parallel
def solve_lines(A, radial, angular, wrap, b, x):
    """x: every line solved for b alone, angular lines where `angular` reaches, beyond it the rest of the
    radial ones, whose factors `radial` begin there."""
    nk, nj, ni = b.shape
    reach = angular.shape[2]
    for k in prange(nk):
        for j in range(nj):
            r = x[k, j]
            p = radial[k, j]
            low = A[k, j, 12]
            up = A[k, j, 14]
            last = b.dtype.type(0.0)
            for i in range(reach, ni):
                last = (b[k, j, i] - low[i] * last) * p[i]
                r[i] = last
            for i in range(ni - 2, reach - 1, -1):
                last = r[i] - p[i] * up[i] * last
                r[i] = last
        for i in range(reach):
            x[k, 0, i] = b[k, 0, i] * angular[k, 0, i]
        for j in range(1, nj):
            for i in range(reach):
                x[k, j, i] = (b[k, j, i] - A[k, j, 10, i] * x[k, j - 1, i]) * angular[k, j, i]
        for j in range(nj - 2, -1, -1):
            for i in range(reach):
                x[k, j, i] -= angular[k, j, i] * A[k, j, 16, i] * x[k, j + 1, i]
        for i in range(reach):
            f = x[k, 0, i] - A[k, 0, 10, i] * _inverse(A[k, 0, 13, i]) * x[k, nj - 1, i]
            for j in range(nj):
                x[k, j, i] -= f * wrap[k, j, i]
