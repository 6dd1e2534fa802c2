"""The same 3-D case by an independent finite-element library with its own mesh."""

from __future__ import annotations

from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from evenfield.field import Field
from evenfield.tissue import Label
from evenfield.verify.checks import Check, Kind, Subject, check, register
from evenfield.verify.compare_fields import volume_l2
from evenfield.verify.reference_case import extent_of, thigh
from evenfield.verify.reference_fem import MeshSize, ReferenceField, solve_reference
from evenfield.verify.subjects.field import thigh_field

Floats = NDArray[np.float64]
SOURCE = "NGSolve, second-order curved tetrahedra, own mesh"


@cache
def other() -> ReferenceField:
    """The thigh between two facing panels in the space of evenfield's own grid."""
    return solve_reference(thigh(), extent_of(thigh_field().grid), size=MeshSize(scale=1.1))


def share_difference(layer: str) -> float:
    return 100.0 * (thigh_field().share[layer] - other().share[layer])


for _layer in ("muscle", "fat", "skin"):
    register(
        Check(
            f"ngsolve_share_{_layer}",
            Subject.OTHER_PROGRAM,
            f"thigh between two panels: share of power in {_layer}, ours less theirs",
            0.0,
            1.0,
            Kind.ABSOLUTE,
            "points",
            SOURCE,
            Label.C,
            partial(share_difference, _layer),
        )
    )


@check(
    "ngsolve_share_bone",
    Subject.OTHER_PROGRAM,
    "the same: share of power in bone (0.17 %; our grid leaves out 1.9 mm round the axis), ours over theirs",
    expected=1.0,
    tolerance=0.06,
    source=SOURCE,
    label=Label.C,
)
def _bone() -> float:
    return thigh_field().share["bone"] / other().share["bone"]


@check(
    "ngsolve_power",
    Subject.OTHER_PROGRAM,
    "the same: power lost in tissue, ours over theirs",
    expected=1.0,
    tolerance=0.02,
    source=SOURCE,
    label=Label.C,
)
def _power() -> float:
    return thigh_field().absorbed_w / other().absorbed_w


@check(
    "ngsolve_susceptance",
    Subject.OTHER_PROGRAM,
    "the same: imaginary part of the admittance, ours over theirs",
    expected=1.0,
    tolerance=0.02,
    source=SOURCE,
    label=Label.C,
)
def _susceptance() -> float:
    return thigh_field().admittance_s.imag / other().admittance_s.imag


@check(
    "ngsolve_fat_sar",
    Subject.OTHER_PROGRAM,
    "the same: SAR of fat per absorbed watt, L2 difference over the fat's volume",
    expected=0.0,
    tolerance=0.02,
    source=SOURCE,
    label=Label.C,
)
def _fat_sar() -> float:
    ours: Field = thigh_field()
    return volume_l2(ours, other(), thigh().materials)
