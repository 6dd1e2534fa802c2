"""Lines of nodes solved for themselves, as a preconditioner where the diagonal dominates: time steps of heat.

Radial lines, and near the axis, where cells are thin in angle, angular lines instead.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.grid import relaxation
from evenfield.grid.assembly import Stencil

Array = NDArray[Any]


class Lines:
    """Block-diagonal preconditioner of a real operator, `stencil` of shape (nk, nj, 27, ni).

    The stencil is kept, not copied: after it was changed in place call `refactor`. `reach`: how many of the
    innermost radial nodes stand on angular lines.
    """

    def __init__(self, stencil: Stencil, reach: int) -> None:
        nk, nj, _, ni = stencil.shape
        self._stencil, self._reach = stencil, reach
        self._radial, self._x = (np.empty((nk, nj, ni), dtype=stencil.dtype) for _ in range(2))
        self._angular, self._wrap = (np.empty((nk, nj, reach), dtype=stencil.dtype) for _ in range(2))
        self.refactor()

    def refactor(self) -> None:
        """Factor the lines of the stencil as it is now."""
        relaxation.factor_radial(self._stencil, self._radial, self._reach)
        relaxation.factor_angular(self._stencil, self._angular, self._wrap)

    def __call__(self, residual: Array) -> Array:
        """Approximate solution of A x = residual, shape (nk, nj, ni); overwritten by the next call."""
        relaxation.solve_lines(self._stencil, self._radial, self._angular, self._wrap, residual, self._x)
        return self._x
