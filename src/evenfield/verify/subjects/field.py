"""The field solver against closed forms, conservation of energy, and Maxwell's equations in full."""

from __future__ import annotations

from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from evenfield.field import Field
from evenfield.tissue import FREQUENCY_HZ, Label, load_tissue_set
from evenfield.verify.checks import Check, Kind, Subject, check, register
from evenfield.verify.closed_forms.layered_cylinder import (
    Cylinder,
    in_air,
    layer_losses,
    quasi_static_field,
    quasi_static_order,
)
from evenfield.verify.hand_grid import concentric
from evenfield.verify.quasi_static import FACING, Comparison, compare, limbs
from evenfield.verify.reference_case import thigh
from evenfield.verify.subjects.dielectric import STACK, STACK_LAYERS, admittivity

Floats = NDArray[np.float64]

BOUNDS = (0.0002, 0.014, 0.078, 0.093, 0.095, 0.120)
"""Bone, muscle, fat, skin and 25 mm of air round a thigh [m]; the axis is left out up to 0.2 mm."""
TISSUES = ("bone_cortical", "muscle", "fat_average_infiltrated", "skin_dry")
SERIES = "layered cylinder, separation of variables (Jackson 1999)"
ENERGY = "conservation of energy"
FULL_WAVE = "layered-cylinder series of Maxwell's equations (docs/quasi_static.md)"
OURS = "goal of this project"


@cache
def thigh_section() -> Cylinder:
    return in_air(BOUNDS[1:5], tuple(admittivity(name) for name in TISSUES), FREQUENCY_HZ)


@cache
def losses_on_paper() -> Floats:
    """Loss of each tissue [W/m] in a uniform transverse field, 1 V at the skin."""

    def mean_square(r: Floats) -> Floats:
        e_r, e_t = quasi_static_field(thigh_section(), 1, r)
        return np.asarray((np.abs(e_r) ** 2 + np.abs(e_t) ** 2) / 2.0)

    return layer_losses(thigh_section(), mean_square)


@cache
def losses_solved(refinement: int) -> Floats:
    """The same by evenfield's elements and solver; twice the `refinement` halves every cell."""
    cells = [refinement * n for n in (2, 4, 2, 1, 2)]
    y = [admittivity(name) for name in (*TISSUES, "air")]
    grid = concentric(BOUNDS, y, cells, around=8 * refinement)
    outer = quasi_static_order(thigh_section(), 1).value(np.array([BOUNDS[-1]]))[0]
    return grid.loss_between(grid.solve(None, outer * np.cos(grid.angle)), BOUNDS[:5])


def share_solved(tissue: int) -> float:
    loss = losses_solved(8)
    return float(loss[tissue] / loss.sum())


for _index, _name in enumerate(TISSUES):
    register(
        Check(
            f"cylinder_share_{_name}",
            Subject.FIELD,
            f"layered thigh in a uniform field: share of power in {_name.replace('_', ' ')}",
            float(losses_on_paper()[_index] / losses_on_paper().sum()),
            0.005,
            Kind.RELATIVE,
            "",
            SERIES,
            Label.C,
            partial(share_solved, _index),
        )
    )


@check(
    "cylinder_order",
    Subject.FIELD,
    "the same: order of convergence of the fat's power when cells are halved",
    expected=2.0,
    tolerance=0.2,
    source="trilinear elements: error goes with the square of the cell size",
    label=Label.C,
)
def _order() -> float:
    error = [abs(losses_solved(n)[2] / losses_on_paper()[2] - 1.0) for n in (4, 8)]
    return float(np.log2(error[0] / error[1]))


@check(
    "flat_stack",
    Subject.FIELD,
    "flat stack air | skin | fat | muscle | mirrored, 1000 V, through the 3-D solver: |J|",
    expected=37.20098,
    tolerance=1e-3,
    kind=Kind.RELATIVE,
    unit="A/m²",
    source=STACK,
    label=Label.C,
)
def _flat_stack() -> float:
    """A ring of 1 km radius is flat; a polygon of n sides makes every layer thinner by cos(π/n)."""
    radius, around = 1000.0, 256
    bounds = radius + np.concatenate([[0.0], np.cumsum((0.02, 0.002, 0.015, 0.12, 0.015, 0.002, 0.02))])
    grid = concentric(bounds.tolist(), [admittivity(name) for name in STACK_LAYERS], (2,) * 7, around)
    potential = grid.solve(np.zeros(around), np.full(around, 1000.0))
    thickness = (grid.radius[1] - grid.radius[0]) * np.cos(np.pi / around)
    return float(abs(admittivity("air") * (potential[0, 0, 1] - potential[0, 0, 0]) / thickness))


@cache
def thigh_field() -> Field:
    """A thigh between two facing panels at the default spacing."""
    return thigh().field()


@check(
    "energy_closure",
    Subject.FIELD,
    "thigh between two panels: power at the panels against power lost in tissue",
    expected=0.0,
    tolerance=0.005,
    source=ENERGY,
    label=Label.C,
)
def _energy() -> float:
    return thigh_field().energy_closure


@check(
    "iterations",
    Subject.FIELD,
    "the same: iterations to a residual of 1e-8 over the free unknowns",
    expected=12.0,
    kind=Kind.AT_MOST,
    source=OURS,
    label=Label.A,
)
def _iterations() -> float:
    numerics = thigh_field().numerics
    return float(numerics.iterations) if numerics.history[-1] <= 1e-8 else float("inf")


@check(
    "unknowns",
    Subject.FIELD,
    "the same: unknowns at the default spacing",
    expected=150_000.0,
    kind=Kind.AT_LEAST,
    source=OURS,
    label=Label.A,
)
def _unknowns() -> float:
    return float(thigh_field().numerics.unknowns)


@cache
def full_wave(limb: int) -> Comparison:
    """Quasi-static against full wave between two facing strips: 0 upper arm, 1 thigh, 2 trunk."""
    fat = "fat_average_infiltrated"
    return compare(limbs(fat)[limb], FACING, load_tissue_set())


def full_wave_fat(limb: int) -> float:
    found = full_wave(limb)
    return float(found.l2[found.tissues.index("fat_average_infiltrated")])


def full_wave_share(limb: int) -> float:
    return full_wave(limb).share_error


for _index, _name in enumerate(("upper arm", "thigh", "trunk")):
    register(
        Check(
            f"quasi_static_fat_{_name.replace(' ', '_')}",
            Subject.FIELD,
            f"{_name}: quasi-static SAR of fat against full wave, L2 over the fat",
            0.0,
            0.02,
            Kind.ABSOLUTE,
            "",
            FULL_WAVE,
            Label.C,
            partial(full_wave_fat, _index),
        )
    )
    register(
        Check(
            f"quasi_static_share_{_name.replace(' ', '_')}",
            Subject.FIELD,
            f"{_name}: largest error of a tissue's share against full wave",
            0.0,
            1.0,
            Kind.ABSOLUTE,
            "points",
            FULL_WAVE,
            Label.C,
            partial(full_wave_share, _index),
        )
    )
