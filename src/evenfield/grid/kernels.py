"""Compiled kernels on 27-point stencils: product, line relaxation, coarse operators, grid transfer.

All are generic in the number type (float32 to complex128). Products and sums are unconjugated throughout,
since the operators are complex symmetric, not Hermitian. Colour of a radial line: 2 (k mod 2) + (j mod 2); nj
is even.
"""

# mypy: disable-error-code="no-untyped-def, untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import njit, prange

EXACT_ORDER = {"nnan", "ninf", "nsz"}
"""What compiled code may assume. Sums are not taken in another order and products not fused into them: the
compiler does so differently when it compiles than when it links what another process compiled, and results
would depend on who came first."""
_fast = njit(cache=True, fastmath=EXACT_ORDER, error_model="numpy")
_fast_parallel = njit(cache=True, fastmath=EXACT_ORDER, parallel=True, error_model="numpy")


@_fast
def _inverse(z):
    """1/z, real or complex: quicker than complex division, which guards against overflow."""
    return z.conjugate() * (1.0 / (z.real * z.real + z.imag * z.imag))


@_fast
def _line_product(A, x, k, j, out, reach):
    """out = A x on the innermost `reach` nodes of the radial line (k, j)."""
    nk, nj, _, ni = A.shape
    inner = min(reach, ni - 1)
    for i in range(reach):
        out[i] = 0.0
    for dk in range(-1, 2):
        if k + dk < 0 or k + dk >= nk:
            continue
        for dj in range(-1, 2):
            jj = j + dj
            if jj < 0:
                jj += nj
            elif jj >= nj:
                jj -= nj
            m = 9 * (dk + 1) + 3 * (dj + 1)
            line = x[k + dk, jj]
            a = A[k, j, m]
            for i in range(1, reach):
                out[i] += a[i] * line[i - 1]
            a = A[k, j, m + 1]
            for i in range(reach):
                out[i] += a[i] * line[i]
            a = A[k, j, m + 2]
            for i in range(inner):
                out[i] += a[i] * line[i + 1]


@_fast
def _line_residual(A, x, b, k, j, r, reach):
    """r = b − A x on the innermost `reach` nodes of the radial line (k, j)."""
    _line_product(A, x, k, j, r, reach)
    for i in range(reach):
        r[i] = b[k, j, i] - r[i]


@_fast_parallel
def apply(A, x, y):
    """y = A x."""
    nk, nj, _, ni = A.shape
    for k in prange(nk):
        for j in range(nj):
            _line_product(A, x, k, j, y[k, j], ni)


@_fast_parallel
def apply_dot(A, x, y):
    """y = A x; returns the sum of x·y, unconjugated."""
    nk, nj, _, ni = A.shape
    part = np.zeros(nk, dtype=x.dtype)
    for k in prange(nk):
        s = x[k, 0, 0] * 0
        for j in range(nj):
            out = y[k, j]
            _line_product(A, x, k, j, out, ni)
            for i in range(ni):
                s += x[k, j, i] * out[i]
        part[k] = s
    return part.sum()


@_fast_parallel
def turn(z, beta, p):
    """p = z + β p."""
    nk, nj, ni = p.shape
    for k in prange(nk):
        for j in range(nj):
            for i in range(ni):
                p[k, j, i] = z[k, j, i] + beta * p[k, j, i]


@_fast_parallel
def residual(A, x, b, r):
    """r = b − A x."""
    nk, nj, _, ni = A.shape
    for k in prange(nk):
        for j in range(nj):
            _line_residual(A, x, b, k, j, r[k, j], ni)


@_fast_parallel
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


@_fast_parallel
def relax_radial(A, inverse, x, b, colour):
    """Solve all radial lines of one colour for their own unknowns, the rest held."""
    nk, nj, _, ni = A.shape
    pk = colour // 2
    pj = colour % 2
    for half in prange((nk - pk + 1) // 2):
        k = 2 * half + pk
        r = np.empty(ni, dtype=x.dtype)
        for j in range(pj, nj, 2):
            _line_residual(A, x, b, k, j, r, ni)
            p = inverse[k, j]
            low = A[k, j, 12]
            up = A[k, j, 14]
            r[0] *= p[0]
            for i in range(1, ni):
                r[i] = (r[i] - low[i] * r[i - 1]) * p[i]
            for i in range(ni - 2, -1, -1):
                r[i] -= p[i] * up[i] * r[i + 1]
            out = x[k, j]
            for i in range(ni):
                out[i] += r[i]


@_fast_parallel
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


@_fast_parallel
def relax_angular(A, inverse, wrap, x, b, reach, damping, parity):
    """Move the angular lines (k, i < reach) of the levels of one parity by `damping` times the way to their
    own solution, all lines of a level at once, the rest held."""
    nk, nj, _, _ = A.shape
    for half in prange((nk - parity + 1) // 2):
        k = 2 * half + parity
        r = np.empty((nj, reach), dtype=x.dtype)
        for j in range(nj):
            _line_residual(A, x, b, k, j, r[j], reach)
        for i in range(reach):
            r[0, i] *= inverse[k, 0, i]
        for j in range(1, nj):
            low = A[k, j, 10]
            p = inverse[k, j]
            for i in range(reach):
                r[j, i] = (r[j, i] - low[i] * r[j - 1, i]) * p[i]
        for j in range(nj - 2, -1, -1):
            up = A[k, j, 16]
            p = inverse[k, j]
            for i in range(reach):
                r[j, i] -= p[i] * up[i] * r[j + 1, i]
        for i in range(reach):
            share = -A[k, 0, 10, i] * _inverse(A[k, 0, 13, i])
            f = r[0, i] + share * r[nj - 1, i]
            for j in range(nj):
                x[k, j, i] += damping * (r[j, i] - f * wrap[k, j, i])


@_fast_parallel
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


@_fast_parallel
def restrict(fine, wk, wj, coarse):
    """coarse = Pᵀ fine: transposed linear interpolation in angle and level, none in radius.

    `wk` (nk,), `wj` (nj,): weight of the lower coarse neighbour of each odd fine line.
    """
    nk, nj, ni = fine.shape
    nkc, njc, _ = coarse.shape
    for kc in prange(nkc):
        for jc in range(njc):
            out = coarse[kc, jc]
            for i in range(ni):
                out[i] = 0.0
            for dk in range(-1, 2):
                k = 2 * kc + dk
                if k < 0 or k >= nk:
                    continue
                a = np.float32(1.0)
                if dk == 1:
                    a = wk[k]
                elif dk == -1:
                    a = np.float32(1.0) - wk[k]
                for dj in range(-1, 2):
                    j = (2 * jc + dj + nj) % nj
                    w = a
                    if dj == 1:
                        w = a * wj[j]
                    elif dj == -1:
                        w = a * (np.float32(1.0) - wj[j])
                    line = fine[k, j]
                    for i in range(ni):
                        out[i] += w * line[i]


@_fast_parallel
def prolong_add(coarse, free, wk, wj, fine):
    """fine += P coarse on the unknowns: linear in angle and level, weights as in `restrict`."""
    nk, nj, ni = fine.shape
    _, njc, _ = coarse.shape
    for k in prange(nk):
        k0 = k // 2
        k1 = (k + 1) // 2
        a = np.float32(1.0) if k % 2 == 0 else wk[k]
        for j in range(nj):
            j0 = j // 2
            j1 = ((j + 1) // 2) % njc
            b = np.float32(1.0) if j % 2 == 0 else wj[j]
            out = fine[k, j]
            c00 = coarse[k0, j0]
            c01 = coarse[k0, j1]
            c10 = coarse[k1, j0]
            c11 = coarse[k1, j1]
            w00 = a * b
            w01 = a * (np.float32(1.0) - b)
            w10 = (np.float32(1.0) - a) * b
            w11 = (np.float32(1.0) - a) * (np.float32(1.0) - b)
            for i in range(ni):
                out[i] += free[k, j, i] * (w00 * c00[i] + w01 * c01[i] + w10 * c10[i] + w11 * c11[i])


@_fast_parallel
def galerkin(A, free, wk, wj, out):
    """Coarse stencils Pᵀ A P for twofold coarsening in angle and level; fixed nodes take no part.

    `free` (nk, nj, ni) is 1.0 where the fine node is an unknown, else 0.0. `out` has shape (nkc, njc, 27,
    ni).
    """
    nk, nj, _, ni = A.shape
    nkc, njc, _, _ = out.shape
    one = np.float32(1.0)
    for kc in prange(nkc):
        for jc in range(njc):
            for m in range(27):
                for i in range(ni):
                    out[kc, jc, m, i] = 0.0
            for dk in range(-1, 2):
                k = 2 * kc + dk
                if k < 0 or k >= nk:
                    continue
                for dj in range(-1, 2):
                    ju = 2 * jc + dj
                    j = (ju + nj) % nj
                    w = one if dk == 0 else (wk[k] if dk == 1 else one - wk[k])
                    w *= one if dj == 0 else (wj[j] if dj == 1 else one - wj[j])
                    for ek in range(-1, 2):
                        k2 = k + ek
                        if k2 < 0 or k2 >= nk:
                            continue
                        for ej in range(-1, 2):
                            ju2 = ju + ej
                            j2 = (ju2 + nj) % nj
                            m = 9 * (ek + 1) + 3 * (ej + 1)
                            # the coarse nodes that interpolate to (k2, j2), relative to (kc, jc)
                            for ck in range(k2 // 2, (k2 + 1) // 2 + 1):
                                vk = one if 2 * ck == k2 else (wk[k2] if 2 * ck < k2 else one - wk[k2])
                                for cj in range(ju2 // 2, (ju2 + 1) // 2 + 1):
                                    vj = one if 2 * cj == ju2 else (wj[j2] if 2 * cj < ju2 else one - wj[j2])
                                    v = w * vk * vj
                                    mc = 9 * (ck - kc + 1) + 3 * (cj - jc + 1)
                                    for di in range(3):
                                        src = A[k, j, m + di]
                                        dst = out[kc, jc, mc + di]
                                        shift = di - 1
                                        lo = 1 if shift < 0 else 0
                                        hi = ni - 1 if shift > 0 else ni
                                        row = free[k, j]
                                        col = free[k2, j2]
                                        for i in range(lo, hi):
                                            dst[i] += v * row[i] * col[i + shift] * src[i]


@_fast_parallel
def pin(A, free):
    """Turn rows and columns of fixed nodes into those of the identity; `free` is (nk, nj, ni) of 1.0 and
    0.0."""
    nk, nj, _, ni = A.shape
    for k in prange(nk):
        for j in range(nj):
            row = free[k, j]
            for dk in range(-1, 2):
                if k + dk < 0 or k + dk >= nk:
                    continue
                for dj in range(-1, 2):
                    col = free[k + dk, (j + dj + nj) % nj]
                    for di in range(-1, 2):
                        line = A[k, j, 9 * (dk + 1) + 3 * (dj + 1) + di + 1]
                        lo = 1 if di < 0 else 0
                        hi = ni - 1 if di > 0 else ni
                        for i in range(lo, hi):
                            line[i] *= row[i] * col[i + di]
            for i in range(ni):
                if row[i] == 0.0:
                    A[k, j, 13, i] = 1.0


@_fast_parallel
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


@_fast_parallel
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


@_fast_parallel
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
