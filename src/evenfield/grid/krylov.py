"""Conjugate gradients for symmetric operators, real or complex (unconjugated, "COCG").

H. A. van der Vorst and J. B. M. Melissen, *IEEE Trans. Magn.* 26:706 (1990).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.grid import kernels
from evenfield.grid.assembly import Stencil

Array = NDArray[Any]


class NotConverged(RuntimeError):  # noqa: N818
    """The residual did not fall to the tolerance within the allowed iterations."""


@dataclass(frozen=True)
class Solution:
    """`x` of the operator's shape (nk, nj, ni); `history`: relative residual before each iteration and at the
    end."""

    x: Array
    history: tuple[float, ...]

    @property
    def iterations(self) -> int:
        return len(self.history) - 1


def solve(
    stencil: Stencil,
    b: Array,
    preconditioner: Callable[[Array], Array],
    *,
    tolerance: float,
    start: Array | None = None,
    reference: float | None = None,
    most_iterations: int = 60,
) -> Solution:
    """Solve A x = b until ‖b − A x‖ ≤ tolerance · reference (2-norm; reference defaults to ‖b‖).

    `b` must be zero at fixed nodes and `start` too, so that the norms see the unknowns only. Raises
    NotConverged.
    """
    if start is None:
        x, r = np.zeros_like(b), b.copy()
    else:
        x, r = start.copy(), np.empty_like(b)
        kernels.apply(stencil, x, r)
        np.subtract(b, r, out=r)
    size = float(np.sqrt(kernels.squared_norm(b))) if reference is None else reference
    if size == 0.0:
        return Solution(x, (0.0,))
    history = [float(np.sqrt(kernels.squared_norm(r))) / size]
    q = np.empty_like(b)
    p = np.zeros_like(b)
    rho_before: Any = 1.0
    while history[-1] > tolerance:
        if len(history) > most_iterations:
            raise NotConverged(
                f"the solver stopped at a relative residual of {history[-1]:.1e} "
                f"after {most_iterations} iterations; {tolerance:.1e} was asked for"
            )
        z = preconditioner(r)
        rho = kernels.dot(r, z)
        kernels.turn(z, r.dtype.type(rho / rho_before), p)
        rho_before = rho
        alpha = r.dtype.type(rho / kernels.apply_dot(stencil, p, q))
        history.append(float(np.sqrt(kernels.advance(alpha, p, q, x, r))) / size)
    return Solution(x, tuple(history))
