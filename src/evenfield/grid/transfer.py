"""Compiled transfer between a grid and a coarser one, coarse operators, and held nodes.

The coarser grid has every `bk`-th level line and every `bj`-th angle line, 1 or 2; all of the radius.
"""

# mypy: disable-error-code="no-untyped-def, untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import prange

from evenfield.grid.kernels import fast_parallel


@fast_parallel
def restrict(fine, bk, bj, wk, wj, coarse):
    """coarse = Pᵀ fine: transposed linear interpolation in angle and level, none in radius.

    `wk` (nk,), `wj` (nj,): weight of the lower coarse neighbour of each fine line between two coarse ones.
    """
    nk, nj, ni = fine.shape
    nkc, njc, _ = coarse.shape
    for kc in prange(nkc):
        for jc in range(njc):
            out = coarse[kc, jc]
            for i in range(ni):
                out[i] = 0.0
            for dk in range(1 - bk, bk):
                k = bk * kc + dk
                if k < 0 or k >= nk:
                    continue
                a = np.float32(1.0)
                if dk == 1:
                    a = wk[k]
                elif dk == -1:
                    a = np.float32(1.0) - wk[k]
                for dj in range(1 - bj, bj):
                    j = (bj * jc + dj + nj) % nj
                    w = a
                    if dj == 1:
                        w = a * wj[j]
                    elif dj == -1:
                        w = a * (np.float32(1.0) - wj[j])
                    line = fine[k, j]
                    for i in range(ni):
                        out[i] += w * line[i]


@fast_parallel
def prolong_add(coarse, bk, bj, free, wk, wj, fine):
    """fine += P coarse on the unknowns: linear in angle and level, weights as in `restrict`."""
    nk, nj, ni = fine.shape
    _, njc, _ = coarse.shape
    for k in prange(nk):
        k0 = k // bk
        k1 = (k + bk - 1) // bk
        a = np.float32(1.0) if k % bk == 0 else wk[k]
        for j in range(nj):
            j0 = j // bj
            j1 = ((j + bj - 1) // bj) % njc
            b = np.float32(1.0) if j % bj == 0 else wj[j]
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


@fast_parallel
def galerkin(A, free, bk, bj, wk, wj, out):
    """Coarse stencils Pᵀ A P; fixed nodes take no part.

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
            for dk in range(1 - bk, bk):
                k = bk * kc + dk
                if k < 0 or k >= nk:
                    continue
                for dj in range(1 - bj, bj):
                    ju = bj * jc + dj
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
                            for ck in range(k2 // bk, (k2 + bk - 1) // bk + 1):
                                at = bk * ck - k2
                                vk = one if at == 0 else (wk[k2] if at < 0 else one - wk[k2])
                                for cj in range(ju2 // bj, (ju2 + bj - 1) // bj + 1):
                                    at = bj * cj - ju2
                                    vj = one if at == 0 else (wj[j2] if at < 0 else one - wj[j2])
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


@fast_parallel
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
