"""The elements against what must hold exactly: the patch test, energies and volumes."""

import numpy as np
import pytest

from evenfield.grid import kernels
from evenfield.grid.assembly import cell_volumes, mean_squared_gradient, stiffness
from tests.grid.box import annulus

GRADIENT = np.array([0.3, -1.1, 0.7])


def test_patch_test_on_distorted_cells() -> None:
    """A linear potential leaves no residual at inner nodes, whatever their shape (Irons' patch test,
    1966)."""
    nodes = annulus(wobble=0.04)
    A = stiffness(nodes, np.full(4, 2.5))
    phi = np.tensordot(GRADIENT, nodes, axes=1)
    out = np.empty_like(phi)
    kernels.apply(A, phi, out)
    assert np.abs(out[1:-1, :, 1:-1]).max() < 1e-12
    assert np.abs(out).max() > 0.1  # the boundary does carry current


def test_energy_of_a_linear_potential() -> None:
    """phi A phi = y |g|² V, also for complex y."""
    nodes = annulus(wobble=0.04)
    y = 2.5 + 0.4j
    A = stiffness(nodes, np.full(4, y))
    phi = np.tensordot(GRADIENT, nodes, axes=1).astype(complex)
    out = np.empty_like(phi)
    kernels.apply(A, phi, out)
    volume = cell_volumes(nodes).sum()
    assert np.sum(phi * out) == pytest.approx(y * (GRADIENT @ GRADIENT) * volume, rel=1e-12)
    assert mean_squared_gradient(nodes, phi, 4) == pytest.approx(GRADIENT @ GRADIENT, rel=1e-12)


def test_volume_of_an_annulus() -> None:
    """Volume of the polygonal annulus: area of regular n-gons (n/2) R² sin(2π/n), times height."""
    area = 6 * np.sin(2 * np.pi / 12) * (2.0**2 - 1.0**2)
    assert cell_volumes(annulus()).sum() == pytest.approx(area, rel=1e-12)


def test_stencils_are_symmetric() -> None:
    """The coefficient from a to b equals that from b to a."""
    A = stiffness(annulus(wobble=0.04), np.array([1.0, 5.0, 2.0, 3.0]))
    east, west = A[:, :, 14, :-1], A[:, :, 12, 1:]
    assert np.allclose(east, west, rtol=1e-12)
    up, down = A[:-1, :, 22], A[1:, :, 4]
    assert np.allclose(up, down, rtol=1e-12)


def test_wrong_number_of_coefficients() -> None:
    with pytest.raises(ValueError, match="one per radial cell"):
        stiffness(annulus(), np.ones(3))
