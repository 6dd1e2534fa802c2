"""The case every solver gets, the truth, and the error that counts: SAR of fat, L2 over its volume."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from evenfield.field import Field
from evenfield.grid.fit import Grid
from evenfield.verify.compare_fields import cell_centres
from evenfield.verify.reference_case import PanelCase, extent_of, thigh
from evenfield.verify.reference_fem import MeshSize, ReferenceField, solve_reference

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Run:
    """One solver at one resolution. `seconds` by stage; `error` of fat SAR per watt (relative L2)."""

    solver: str
    unknowns: int
    iterations: int
    seconds: dict[str, float]
    error: float

    @property
    def total_s(self) -> float:
        return sum(self.seconds.values())

    def __str__(self) -> str:
        stages = ", ".join(f"{name} {value:.2f}" for name, value in self.seconds.items())
        return (
            f"{self.solver:<46} {self.unknowns:>8} unknowns {self.iterations:>4} iterations "
            f"{self.total_s:>8.2f} s ({stages})  error {100 * self.error:.2f} %"
        )


class Problem:
    """A thigh between two facing panels (evenfield.verify.reference_case), and the truth for it.

    The truth comes from NGSolve with third-order elements on a finer mesh than any compared, so that what
    the truth itself is wrong by favours NGSolve and not evenfield.
    """

    def __init__(self, truth_scale: float) -> None:
        self.case: PanelCase = thigh()
        self.grid: Grid = self.case.grid()
        self.extent = extent_of(self.grid)
        self.truth: ReferenceField = solve_reference(
            self.case, self.extent, order=3, size=MeshSize(scale=truth_scale), tolerance=1e-7
        )

    @cached_property
    def points(self) -> Floats:
        """Where the other programs are compared: cell centres of the fat on the default grid."""
        return cell_centres(self.grid, "fat")

    @cached_property
    def _true_square(self) -> Floats:
        return self.truth.field_square(self.points) / self.truth.absorbed_w

    def error_of_reference(self, field: ReferenceField) -> float:
        volume = self.grid.volume[:, :, self.grid.cells_of("fat")]
        got = field.field_square(self.points) / field.absorbed_w
        return _l2(got, self._true_square, volume)

    def error_of_ours(self, heating: Floats, grid: Grid) -> float:
        """`heating` of the fat's cells per absorbed watt, on a grid of ours (whoever solved on it)."""
        sigma = self.case.materials["fat"].admittivity.real
        true = self.truth.field_square(cell_centres(grid, "fat")) / self.truth.absorbed_w
        return _l2(heating / sigma, true, grid.volume[:, :, grid.cells_of("fat")])

    def error_of_field(self, field: Field) -> float:
        return self.error_of_ours(field.heating[:, :, field.grid.cells_of("fat")], field.grid)


def _l2(got: Floats, true: Floats, volume: Floats) -> float:
    return float(np.sqrt(np.sum(volume * (got - true) ** 2) / np.sum(volume * true**2)))
