"""A member of an ensemble: the case with everything as one row of scores has it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator import PlacementError, check_placement
from evenfield.case import Case
from evenfield.field import Field, Material, solve_field
from evenfield.forecast.engine import Setting, bioheat_of, setting_of
from evenfield.grid.fit import fit
from evenfield.grid.layout import Layout
from evenfield.heat.bioheat import Bioheat
from evenfield.tissue import FatKind
from evenfield.tolerance.spread import Spread

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

FIELD_RESIDUAL = 1e-5
PLACED = ("gap", "tilt_across", "tilt_along")
_LEAST_FAT_M = 1e-3
_TRIES, _BACK = 12, 0.8
_MARGIN_M = 0.004


def changed_case(case: Case, values: Mapping[str, float]) -> Case:
    """The case with body, fat kind and placement of one member; `values` as in `Spread.values`, unknowns
    missing from it stay nominal."""
    m = case.measurements
    thicker, wider = values.get("fat_thickness", 0.0), values.get("girth", 1.0)
    fat = tuple(tuple(max(_LEAST_FAT_M, f + thicker) for f in row) for row in m.fat_m)
    body = replace(m, girth_m=tuple(wider * g for g in m.girth_m), fat_m=fat)  # type: ignore[arg-type]
    panels = tuple(
        replace(
            p,
            gap_m=p.gap_m + values.get(f"gap.{p.name}", 0.0),
            tilt_across_rad=p.tilt_across_rad + values.get(f"tilt_across.{p.name}", 0.0),
            tilt_along_rad=p.tilt_along_rad + values.get(f"tilt_along.{p.name}", 0.0),
        )
        for p in case.panels
    )
    other = next(kind for kind in FatKind if kind != case.fat_kind)
    kind = other if values.get("fat_kind", 0.0) > 0.5 else case.fat_kind
    return replace(case, measurements=body, panels=panels, fat_kind=kind)


def possible(case: Case, spread: Spread, scores: Floats) -> Floats:
    """The rows with the errors of placing shrunk, where a panel would touch, until it does not.

    Hands stop before skin. Each row's errors of gap and tilt are multiplied by 0.8 as often as needed. Raises
    PlacementError if a row stays impossible.
    """
    placing = [n for n, key in enumerate(spread.keys) if key.split(".")[0] in PLACED]
    out = scores.copy()
    for row in out:
        if _plainly_clear(case, one_row(spread, row)):
            continue
        for attempt in range(_TRIES + 1):
            member = changed_case(case, one_row(spread, row))
            try:
                check_placement(member.region, member.placed)
                break
            except PlacementError:
                if attempt == _TRIES or not placing:
                    raise
                row[placing] *= _BACK if attempt < _TRIES - 1 else 0.0
    return out


def _plainly_clear(case: Case, values: Mapping[str, float]) -> bool:
    """True where no panel can come near the skin, by its gap and tilts alone: a bound for bodies that bulge
    nowhere by more than the margin."""
    for p in case.panels:
        across = abs(p.tilt_across_rad + values.get(f"tilt_across.{p.name}", 0.0))
        along = abs(p.tilt_along_rad + values.get(f"tilt_along.{p.name}", 0.0))
        nearest = p.gap_m + values.get(f"gap.{p.name}", 0.0)
        nearest -= 0.5 * (p.width_m * np.sin(across) + p.length_m * np.sin(along))
        if nearest < _MARGIN_M:
            return False
    return True


def one_row(spread: Spread, row: Floats) -> dict[str, float]:
    """Values of one row of scores (n_unknowns,)."""
    return {key: float(value[0]) for key, value in spread.values(row[None]).items()}


def setting_for(case: Case, values: Mapping[str, float]) -> Setting:
    """Tissues of a member: conductivity and permittivity of each layer times its factors."""
    setting = setting_of(case)
    materials = dict(setting.materials)
    for layer in case.region.layers:
        y = materials[layer].admittivity
        conducts = values.get(f"dielectric.{layer}.conductivity", 1.0)
        permits = values.get(f"dielectric.{layer}.permittivity", 1.0)
        materials[layer] = Material(complex(conducts * y.real, permits * y.imag), materials[layer].density)
    return replace(setting, materials=materials)


@dataclass(frozen=True)
class SolvedMember:
    """One member computed in full: its case, field and heat problem with its own blood flow and exchange."""

    case: Case
    field: Field
    heat: Bioheat


def solved_member(
    case: Case, layout: Layout, values: Mapping[str, float], start: Complexes | None = None
) -> SolvedMember:
    """Field and heat problem of one member on the layout bent to it. `start`: a first guess of the
    potential."""
    member = changed_case(case, values)
    setting = setting_for(member, values)
    grid = fit(layout, member.region, member.placed)
    drives = [p.drive for p in member.panels]
    field = solve_field(grid, setting.materials, drives, start=start, residual=FIELD_RESIDUAL)
    heat = bioheat_of(member, setting, field)
    flow = {layer: values.get(f"flow.{layer}", 1.0) for layer in ("fat", "muscle", "skin")}
    varied = heat.varied(flow, values.get("exchange", 1.0))
    return SolvedMember(member, field, replace(varied, arterial_c=heat.arterial_c + values.get("core", 0.0)))
