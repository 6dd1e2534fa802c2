"""The fitted hexahedral grid, its trilinear elements and the multigrid solver that field and heat share.

Array layout: `[level k, angle j, radial i]`, radial index fastest, angle periodic.
An operator is a 27-point stencil `A[k, j, m, i]` with `m = 9 (dk + 1) + 3 (dj + 1) + (di + 1)`:
the coefficient of node `(k + dk, j + dj, i + di)` in the equation of node `(k, j, i)`; `m = 13` is the
diagonal.
"""

import os

# Threads that spin while they wait stall everything on a machine that others use too. This must be set before
# Numba starts its threads; the user's own choice stands.
os.environ.setdefault("OMP_WAIT_POLICY", "passive")
