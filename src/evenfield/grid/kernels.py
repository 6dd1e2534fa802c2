"""Compiled kernels on 27-point stencils: products, and the sums and steps of conjugate gradients.

These, `grid.relaxation` and `grid.transfer` are generic in the number type (float32 to complex128). Products
and sums are unconjugated throughout, since the operators are complex symmetric, not Hermitian.
"""

# mypy: disable-error-code="no-untyped-def, untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import njit, prange

EXACT_ORDER = {"nnan", "ninf", "nsz"}
"""What compiled code may assume. Sums are not taken in another order and products not fused into them: the
compiler does so differently when it compiles than when it links what another process compiled, and results
would depend on who came first."""
fast = njit(cache=True, fastmath=EXACT_ORDER, error_model="numpy")
fast_parallel = njit(cache=True, fastmath=EXACT_ORDER, parallel=True, error_model="numpy")


@fast
def add_line(entries, line, out, reach):
    """out += a neighbouring radial line's part, on the innermost `reach` nodes; `entries` (3, ni) of A."""
    below, level, above = entries[0], entries[1], entries[2]
    for i in range(1, reach):
        out[i] += below[i] * line[i - 1]
    for i in range(reach):
        out[i] += level[i] * line[i]
    for i in range(min(reach, line.size - 1)):
        out[i] += above[i] * line[i + 1]


@fast
def line_product(A, x, k, j, out, reach):
    """out = A x on the innermost `reach` nodes of the radial line (k, j)."""
    nk, nj, _, _ = A.shape
    for i in range(reach):
        out[i] = 0.0
    for dk in range(-1, 2):
        if k + dk < 0 or k + dk >= nk:
            continue
        for dj in range(-1, 2):
            m = 9 * (dk + 1) + 3 * (dj + 1)
            add_line(A[k, j, m : m + 3], x[k + dk, (j + dj + nj) % nj], out, reach)


@fast
def line_residual(A, x, b, k, j, r, reach):
    """r = b − A x on the innermost `reach` nodes of the radial line (k, j)."""
    line_product(A, x, k, j, r, reach)
    for i in range(reach):
        r[i] = b[k, j, i] - r[i]


@fast_parallel
def apply(A, x, y):
    """y = A x."""
    nk, nj, _, ni = A.shape
    for k in prange(nk):
        for j in range(nj):
            line_product(A, x, k, j, y[k, j], ni)


@fast_parallel
def apply_dot(A, x, y):
    """y = A x; returns the sum of x·y, unconjugated."""
    nk, nj, _, ni = A.shape
    part = np.zeros(nk, dtype=x.dtype)
    for k in prange(nk):
        s = x[k, 0, 0] * 0
        for j in range(nj):
            out = y[k, j]
            line_product(A, x, k, j, out, ni)
            for i in range(ni):
                s += x[k, j, i] * out[i]
        part[k] = s
    return part.sum()


@fast_parallel
def turn(z, beta, p):
    """p = z + β p."""
    nk, nj, ni = p.shape
    for k in prange(nk):
        for j in range(nj):
            for i in range(ni):
                p[k, j, i] = z[k, j, i] + beta * p[k, j, i]


@fast_parallel
def residual(A, x, b, r):
    """r = b − A x."""
    nk, nj, _, ni = A.shape
    for k in prange(nk):
        for j in range(nj):
            line_residual(A, x, b, k, j, r[k, j], ni)


@fast_parallel
def dot(a, b):
    """Sum of a·b over all nodes, unconjugated."""
    nk, nj, ni = a.shape
    part = np.zeros(nk, dtype=a.dtype)
    for k in prange(nk):
        s = a[k, 0, 0] * b[k, 0, 0] * 0
        for j in range(nj):
            for i in range(ni):
                s += a[k, j, i] * b[k, j, i]
        part[k] = s
    return part.sum()


@fast_parallel
def squared_norm(a):
    """Sum of |a|² over all nodes."""
    nk, nj, ni = a.shape
    part = np.zeros(nk)
    for k in prange(nk):
        s = 0.0
        for j in range(nj):
            for i in range(ni):
                s += a[k, j, i].real * a[k, j, i].real + a[k, j, i].imag * a[k, j, i].imag
        part[k] = s
    return part.sum()


@fast_parallel
def advance(alpha, p, q, x, r):
    """x += α p, r −= α q; returns the sum of |r|²."""
    nk, nj, ni = p.shape
    part = np.zeros(nk)
    for k in prange(nk):
        s = 0.0
        for j in range(nj):
            for i in range(ni):
                x[k, j, i] += alpha * p[k, j, i]
                v = r[k, j, i] - alpha * q[k, j, i]
                r[k, j, i] = v
                s += v.real * v.real + v.imag * v.imag
        part[k] = s
    return part.sum()
