"""Each solver on the same case: the time for a new placement, mesh or grid included, and its error."""

from __future__ import annotations

import time
from statistics import median

import numpy as np
import pyamg  # type: ignore[import-untyped]
import skfem  # type: ignore[import-untyped]
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import LinearOperator, splu

from bench.errors import Problem, Run
from evenfield.field.solve import fixed_potential
from evenfield.forecast.accuracy import solve_to_target
from evenfield.grid.assembly import mean_squared_gradient
from evenfield.grid.fit import Grid, fit
from evenfield.grid.layout import Spacing, make_layout
from evenfield.verify.reference_fem import MeshSize, solve_reference

TOLERANCE = 1e-6
"""Relative residual for every iterative solver: far below the errors compared."""


def ours(problem: Problem, scale: float, repeat: int = 5) -> Run:
    """evenfield as its forecast solves: layout, nested coarse and fine grid fitted, assembled and solved,
    heating extrapolated; median of some runs after one that compiles."""
    case = problem.case
    seconds = []
    for _ in range(repeat + 1):
        start = time.perf_counter()
        layout = make_layout(case.region, case.placed, Spacing(scale=scale))
        field, _, _ = solve_to_target(
            case.region, case.placed, case.materials, layout=layout, residual=TOLERANCE
        )
        seconds.append(time.perf_counter() - start)
    whole, numerics = {"grids and solves": median(seconds[1:])}, field.numerics
    return Run(
        f"evenfield, spacing x {scale:g}",
        numerics.unknowns,
        numerics.iterations,
        whole,
        problem.error_of_field(field),
    )


def ngsolve(problem: Problem, order: int, size: MeshSize, preconditioner: str) -> Run:
    """NGSolve with Netgen's mesh, which a new placement needs anew."""
    field = solve_reference(
        problem.case,
        problem.extent,
        order=order,
        size=size,
        preconditioner=preconditioner,
        tolerance=TOLERANCE,
    )
    name = f"NGSolve, order {order}, mesh x {size.scale:g}, {preconditioner}"
    return Run(name, field.unknowns, field.iterations, dict(field.seconds), problem.error_of_reference(field))


def _hexahedra(grid: Grid) -> NDArray[np.int64]:
    """Corners of every cell as scikit-fem orders them, (8, cells); its axes 0, 1, 2 are our i, j, k."""
    nk, nj, ni = grid.shape
    number = np.arange(nk * nj * ni).reshape(nk, nj, ni)
    around = np.concatenate([number, number[:, :1]], axis=1)
    corners = skfem.MeshHex().p.T.astype(int)
    return np.stack([around[c : nk - 1 + c, b : nj + b, a : ni - 1 + a].ravel() for a, b, c in corners])


def scikit_fem(problem: Problem, scale: float, solver: str) -> Run:
    """scikit-fem's assembly of trilinear elements on the fitted grid, which it is given, and SciPy or PyAMG.

    "amg": conjugate gradients on the complex system, preconditioned by smoothed aggregation of the real
    system with |y| in place of y. "direct": SciPy's sparse factorisation.
    """
    case = problem.case
    start = time.perf_counter()
    grid = fit(make_layout(case.region, case.placed, Spacing(scale=scale)), case.region, case.placed)
    mesh = skfem.MeshHex(grid.nodes.reshape(3, -1), _hexahedra(grid))
    meshed = time.perf_counter()
    nk, nj, _ = grid.shape
    y = np.array([case.materials[name].admittivity for name in grid.layer_of_cell])
    basis = skfem.Basis(mesh, skfem.ElementHex1(), intorder=3)
    cells = np.tile(y, (nk - 1) * nj)

    @skfem.BilinearForm(dtype=np.complex128)
    def conduction(u, v, w):  # type: ignore[no-untyped-def]
        return w["y"] * (u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1] + u.grad[2] * v.grad[2])

    per_point = np.repeat(cells[:, None], basis.X.shape[1], axis=1)
    A = csr_matrix(conduction.assemble(basis, y=per_point))
    assembled = time.perf_counter()
    held, value, _ = fixed_potential(grid, case.drives)
    free = np.flatnonzero(~held.ravel())
    right = np.asarray(-(A @ value.ravel())[free], dtype=np.complex128)
    inner = A[free][:, free]
    count = 0
    if solver == "direct":
        x = splu(inner.tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(right)
    else:
        size = np.abs(y)
        ratio = np.repeat(size[:, None], basis.X.shape[1], axis=1)
        real = csr_matrix(conduction.assemble(basis, y=np.tile(ratio, ((nk - 1) * nj, 1)))).real
        levels = pyamg.smoothed_aggregation_solver(real[free][:, free], symmetry="symmetric")
        cycle = levels.aspreconditioner()
        x, count = _conjugate_gradients(inner, right, cycle)
    potential = value.ravel().copy()
    potential[free] = x
    solved = time.perf_counter()
    seconds = {"grid": meshed - start, "assemble": assembled - meshed, "solve": solved - assembled}
    heating = mean_squared_gradient(grid.nodes, potential.reshape(grid.shape), grid.skin_node)
    heating *= y[: grid.skin_node].real
    power = float(np.sum(heating * grid.volume[:, :, : grid.skin_node]))
    error = problem.error_of_ours(heating[:, :, grid.cells_of("fat")] / power, grid)
    name = f"scikit-fem + {'PyAMG' if solver == 'amg' else 'SuperLU'}, spacing x {scale:g}"
    return Run(name, free.size, count, seconds, error)


def _conjugate_gradients(
    A: csr_matrix, b: NDArray[np.complex128], cycle: LinearOperator
) -> tuple[NDArray[np.complex128], int]:
    """Unconjugated conjugate gradients (COCG) with a real preconditioner."""
    x, r = np.zeros_like(b), b.copy()
    p, before, count = np.zeros_like(b), 1.0 + 0.0j, 0
    while np.linalg.norm(r) > TOLERANCE * np.linalg.norm(b) and count < 500:
        z = cycle @ r.real + 1j * (cycle @ r.imag)
        now = complex(np.sum(r * z))
        p = z + (now / before) * p if count else z
        q = A @ p
        step = now / complex(np.sum(p * q))
        x, r, before, count = x + step * p, r - step * q, now, count + 1
    return x, count
