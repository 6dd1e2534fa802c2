"""The same 3-D case by an independent general-purpose finite-element library, NGSolve, on its own mesh.

Shared with evenfield: the geometry (a body of constant section, flat panels without thickness in air), the
material values, the equation ∇·(y∇φ) = 0, φ = ± half a volt times the drive on the panels, and no normal
current through the ends and the outer cylinder. Not shared: a tetrahedral mesh with curved elements made by
Netgen from the solid geometry, second-order (or any order) elements, and the linear solver.

NGSolve comes with the development tools only; without it a check that needs it reports that it was not run.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from math import cos, pi, sin
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.verify.checks import CannotRunError
from evenfield.verify.reference_case import Extent, PanelCase

Floats = NDArray[np.float64]
SECTION_POINTS = 64
"""Points of the closed spline through each layer's section."""


@dataclass(frozen=True)
class MeshSize:
    """Largest element sizes [m]; `scale` multiplies all. Sizes are for second-order elements."""

    deep: float = 0.030
    fat: float = 0.015
    skin: float = 0.0105
    air: float = 0.075
    panel: float = 0.015
    panel_edge: float = 0.0075
    grading: float = 0.4
    scale: float = 1.0

    def of(self, layer: str) -> float:
        return self.scale * {"fat": self.fat, "skin": self.skin, "air": self.air}.get(layer, self.deep)


@dataclass(frozen=True)
class ReferenceField:
    """Solution of the other library for half a volt times the drives.

    `share` of the loss per layer; `absorbed_w` [W]; `admittance_s` between drives of +1 and −1 [S]; `seconds`
    per stage (mesh, assemble, solve).
    """

    share: Mapping[str, float]
    absorbed_w: float
    admittance_s: complex
    unknowns: int
    iterations: int
    seconds: Mapping[str, float]
    _mesh: Any
    _square: Any

    def field_square(self, points: Floats) -> Floats:
        """|E|² [V²/m²] at points (..., 3) inside the computed space."""
        x, y, z = (np.ascontiguousarray(points[..., d]).ravel() for d in range(3))
        values = np.asarray(self._square(self._mesh(x, y, z))).real
        return values.reshape(points.shape[:-1])


def _library() -> tuple[Any, Any]:
    try:
        import ngsolve  # type: ignore[import-untyped]
        from netgen import occ  # type: ignore[import-untyped]
    except ImportError:
        raise CannotRunError("needs NGSolve (make dev)") from None
    return ngsolve, occ


def make_mesh(case: PanelCase, extent: Extent, size: MeshSize, order: int) -> Any:
    """Netgen's mesh of the case, elements curved to `order`; materials by layer, boundaries "panel0", ..."""
    ngsolve, occ = _library()
    low, height = extent.low_m, extent.high_m - extent.low_m
    angle = np.arange(SECTION_POINTS) * 2.0 * pi / SECTION_POINTS
    solids, inner = [], None
    for name, radii in zip(case.region.layers, case.section(SECTION_POINTS), strict=True):
        points = [occ.Pnt(r * cos(t), r * sin(t), low) for r, t in zip(radii, angle, strict=True)]
        curve = occ.SplineInterpolation(points, periodic=True)
        whole = occ.Face(occ.Wire([curve])).Extrude(height * occ.Z)
        solids.append(_ring(whole, inner, name, size.of(name)))
        inner = whole
    outer = occ.Cylinder(occ.Pnt(0, 0, low), occ.Z, r=extent.air_radius_m, h=height)
    solids.append(_ring(outer, inner, "air", size.of("air")))
    faces = []
    for number, placed in enumerate(case.placed):
        u, v = placed.panel.width_m / 2.0, placed.panel.length_m / 2.0
        corners = [
            occ.Pnt(*map(float, placed.point(a * u, b * v))) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        ]
        face = occ.Face(occ.Wire([occ.Segment(corners[i], corners[(i + 1) % 4]) for i in range(4)]))
        face.name = f"panel{number}"
        face.maxh = size.scale * size.panel
        for edge in face.edges:
            edge.maxh = size.scale * size.panel_edge
        faces.append(face)
    geometry = occ.OCCGeometry(occ.Glue(solids + faces))
    mesh = ngsolve.Mesh(geometry.GenerateMesh(maxh=size.of("air"), grading=size.grading, optsteps3d=1))
    if order > 1:
        mesh.Curve(order)
    return mesh


def _ring(whole: Any, inner: Any, name: str, size: float) -> Any:
    solid = whole if inner is None else whole - inner
    solid.mat(name)
    solid.maxh = size
    return solid


def solve_reference(
    case: PanelCase,
    extent: Extent,
    *,
    order: int = 2,
    size: MeshSize | None = None,
    preconditioner: str = "multigrid",
    tolerance: float = 1e-8,
) -> ReferenceField:
    """Solve the case with NGSolve. Raises CannotRunError if it is not installed.

    `preconditioner` is NGSolve's: "multigrid" (here in the order of the elements: all unknowns smoothed,
    those of first order solved directly), "bddc", "local", or "direct" for a sparse factorisation.
    """
    ngsolve, _ = _library()
    start = time.perf_counter()
    mesh = make_mesh(case, extent, size or MeshSize(), order)
    meshed = time.perf_counter()
    panels = {f"panel{n}": 0.5 * drive for n, drive in enumerate(case.drives)}
    fixed = "|".join(panels)
    space = ngsolve.H1(mesh, order=order, complex=True, dirichlet=fixed)
    trial, test = space.TnT()
    y = mesh.MaterialCF({name: material.admittivity for name, material in case.materials.items()})
    with ngsolve.TaskManager():
        form = ngsolve.BilinearForm(space, symmetric=True)
        form += y * ngsolve.grad(trial) * ngsolve.grad(test) * ngsolve.dx
        helper = None if preconditioner == "direct" else ngsolve.Preconditioner(form, preconditioner)
        form.Assemble()
        assembled = time.perf_counter()
        potential = ngsolve.GridFunction(space)
        potential.Set(mesh.BoundaryCF(panels), definedon=mesh.Boundaries(fixed))
        right = potential.vec.CreateVector()
        right.data = -form.mat * potential.vec
        if helper is None:
            inverse = form.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky")
        else:
            inverse = ngsolve.CGSolver(form.mat, helper.mat, maxiter=2000, tol=tolerance)
        potential.vec.data += inverse * right
        solved = time.perf_counter()
        gradient = ngsolve.grad(potential)
        square = ngsolve.InnerProduct(gradient, gradient)
        layers = case.region.layers
        loss = np.array(
            [
                case.materials[name].admittivity.real
                * ngsolve.Integrate(square, mesh, definedon=mesh.Materials(name)).real
                for name in layers
            ]
        )
        apparent = complex(ngsolve.Integrate(y * gradient * gradient, mesh))
    span = 0.5 * (max(case.drives) - min(case.drives))
    return ReferenceField(
        share=dict(zip(layers, (loss / loss.sum()).tolist(), strict=True)),
        absorbed_w=float(loss.sum()),
        admittance_s=apparent / span**2,
        unknowns=int(space.FreeDofs().NumSet()),
        iterations=0 if helper is None else int(inverse.GetSteps()),
        seconds={"mesh": meshed - start, "assemble": assembled - meshed, "solve": solved - assembled},
        _mesh=mesh,
        _square=square,
    )
