"""The multigrid solver against SciPy's direct sparse solver, and the symmetry conjugate gradients need."""

import numpy as np
import pytest
from scipy.sparse.linalg import spsolve

from evenfield.grid import kernels, transfer
from evenfield.grid.assembly import stiffness
from evenfield.grid.krylov import NotConverged, solve
from evenfield.grid.multigrid import Multigrid, _sparse, coarsened_by
from tests.grid.box import annulus

NK, NJ, NI = 9, 16, 6


def problem(complex_valued: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray, Multigrid]:
    """A pinned operator with strong jumps, its right-hand side, its free mask and its multigrid."""
    nodes = annulus(NK, NJ, NI, wobble=0.01)
    y = np.array([1.0, 50.0, 3.0, 0.02, 0.02])
    A = stiffness(nodes, y * (1 + 0.5j) if complex_valued else y)
    held = np.zeros((NK, NJ, NI), dtype=bool)
    held[2:6, 3:8, 4] = True
    held[:, :, 0] = True
    value = np.where(held, 1.0, 0.0).astype(A.dtype)
    value[:, :, 0] = 0.0
    b = np.empty_like(value)
    kernels.apply(A, value, b)
    b *= -1.0 * ~held
    transfer.pin(A, (~held).astype(float))
    lines = (np.linspace(0, 1, NK), np.arange(NJ) * 2 * np.pi / NJ)
    return A, b, ~held, Multigrid(A, ~held, lines)


@pytest.mark.parametrize("complex_valued", [False, True])
def test_solution_equals_a_direct_solve(complex_valued: bool) -> None:
    A, b, free, multigrid = problem(complex_valued)
    x = solve(A, b, multigrid, tolerance=1e-11)
    direct = spsolve(_sparse(A), b.ravel()).reshape(b.shape)
    assert np.abs(x.x - direct).max() < 1e-9 * np.abs(direct).max()
    assert np.abs(x.x[~free]).max() == 0.0
    assert x.iterations <= 18
    assert x.history[-1] <= 1e-11 < x.history[-2]


def test_the_cycle_is_symmetric() -> None:
    """u·Mv = v·Mu without conjugation, to single precision."""
    _, b, free, multigrid = problem(True)
    rng = np.random.default_rng(3)
    u, v = ((rng.standard_normal(b.shape) + 1j * rng.standard_normal(b.shape)) * free for _ in range(2))
    left, right = np.sum(u * multigrid(v)), np.sum(v * multigrid(u))
    assert left == pytest.approx(right, rel=2e-5)


def test_it_says_so_when_it_does_not_converge() -> None:
    A, b, _, multigrid = problem(True)
    with pytest.raises(NotConverged, match="2 iterations"):
        solve(A, b, multigrid, tolerance=1e-11, most_iterations=2)


def laplace(nk: int, nj: int, ni: int, *, long: float) -> np.ndarray:
    """The stencil of a homogeneous annulus whose levels span the length `long`."""
    nodes = annulus(nk, nj, ni)
    nodes[2] *= long
    return stiffness(nodes, np.ones(ni - 1))


def test_what_can_be_halved() -> None:
    even = 3.0  # levels about as far apart as angles
    assert coarsened_by(laplace(17, 32, 9, long=even)) == (2, 2)
    assert coarsened_by(laplace(17, 32, 9, long=10.0)) == (1, 2), "in angle alone, where cells are long"
    assert coarsened_by(laplace(17, 32, 9, long=0.3)) == (2, 1), "in level alone, where they are wide"
    assert coarsened_by(laplace(16, 32, 9, long=even)) == (1, 2)
    assert coarsened_by(laplace(65, 10, 9, long=even)) == (2, 1)
    assert coarsened_by(laplace(16, 16, 9, long=even)) == (1, 1), "small enough for a direct solution"


def test_wide_and_long_cells_need_no_more_iterations() -> None:
    """Halved in both at once, the wide ones take 52 and the long ones 13."""
    iterations = []
    for long in (0.3, 6.0, 20.0):
        A = laplace(33, 64, 9, long=long)
        held = np.zeros(A.shape[:2] + A.shape[3:], dtype=bool)
        held[:, :, 0] = True
        b = np.random.default_rng(5).standard_normal(held.shape) * ~held
        transfer.pin(A, (~held).astype(float))
        lines = (np.linspace(0, long, 33), np.arange(64) * 2 * np.pi / 64)
        iterations.append(solve(A, b, Multigrid(A, ~held, lines), tolerance=1e-8).iterations)
    assert max(iterations) <= 7
