"""The other program's own answer is checked where a closed form exists before ours is held against it."""

from dataclasses import replace

import numpy as np
import pytest

from evenfield.grid.layout import Spacing
from evenfield.verify.checks import CannotRunError
from evenfield.verify.compare_fields import cell_centres
from evenfield.verify.reference_case import Extent, extent_of, thigh
from evenfield.verify.reference_fem import MeshSize, _library, make_mesh, solve_reference

COARSE = MeshSize(scale=2.0)
EXTENT = Extent(0.25, -0.15, 0.15)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_mesh_has_the_volumes_of_the_body_and_the_panels_area() -> None:
    ngsolve, _ = _library()
    mesh = make_mesh(thigh(), EXTENT, COARSE, 2)
    radii = (0.014, 0.078, 0.093, 0.095, 0.25)
    inner = 0.0
    for name, outer in zip(("bone", "muscle", "fat", "skin", "air"), radii, strict=True):
        volume = ngsolve.Integrate(1.0, mesh, definedon=mesh.Materials(name))
        assert volume == pytest.approx(np.pi * (outer**2 - inner**2) * 0.3, rel=2e-3)
        inner = outer
    for panel in ("panel0", "panel1"):
        area = ngsolve.Integrate(1.0, mesh, definedon=mesh.Boundaries(panel))
        assert area == pytest.approx(0.09 * 0.14, rel=1e-9)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_power_is_conserved_and_sampling_agrees_with_it() -> None:
    case = thigh()
    found = solve_reference(case, EXTENT, size=COARSE)
    assert found.absorbed_w == pytest.approx(found.admittance_s.real, rel=1e-3)
    assert sum(found.share.values()) == pytest.approx(1.0)
    grid = case.grid(Spacing(scale=1.6))
    assert extent_of(grid).low_m < -0.07
    inside = (np.abs(grid.level[:-1, 0]) < 0.14) & (np.abs(grid.level[1:, 0]) < 0.14)
    square = found.field_square(cell_centres(grid, "fat")[inside])
    volume = grid.volume[:, :, grid.cells_of("fat")][inside]
    sampled = case.materials["fat"].admittivity.real * float(np.sum(square * volume))
    assert sampled == pytest.approx(found.share["fat"] * found.absorbed_w, rel=0.03)


def test_without_the_library_a_check_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "ngsolve", None)
    with pytest.raises(CannotRunError, match="needs NGSolve"):
        solve_reference(thigh(), EXTENT, size=replace(COARSE, scale=3.0))
