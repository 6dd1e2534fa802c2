"""Thermal values and blood flow against printed ones, and bioheat closed forms against worked examples."""

from __future__ import annotations

from functools import partial

import numpy as np

from evenfield.tissue import Label, load_tissue_set
from evenfield.verify.checks import Check, Kind, Subject, check, register
from evenfield.verify.closed_forms.pennes_steady import (
    CoveredSlab,
    PennesTissue,
    Surface,
    cylinder,
    slab,
    slab_under_cover,
)
from evenfield.verify.closed_forms.pennes_transient import slab_with_cold_faces, slab_with_cold_faces_steady

LANG = "Lang, Erdmann, Seebass, IEEE TBME 46:1129 (1999), formula evaluated"
INCROPERA = "Incropera, Fundamentals of Heat and Mass Transfer, Example 3.12"
SEPARATION = "separation of variables (Carslaw and Jaeger 1959)"
WORKED = "Pennes slab, closed form"

LANG_FLOW = {
    "muscle": {37.0: 0.4671, 41.0: 1.3858, 43.0: 2.9937, 45.0: 4.0000, 50.0: 4.0000},
    "fat": {37.0: 0.3617, 41.0: 0.4549, 43.0: 0.6180, 45.0: 0.7200, 50.0: 0.7200},
}
"""Flow [kg/(s·m³)] at temperatures [°C]; 4.00 and 0.72 above 45 °C are printed in the paper."""


def flow(tissue: str, temperature_c: float) -> float:
    return float(load_tissue_set().tissue(tissue).flow.at(np.array([temperature_c]))[0])


for _tissue, _table in LANG_FLOW.items():
    for _temperature, _flow in _table.items():
        register(
            Check(
                f"flow_{_tissue}_{_temperature:.0f}c",
                Subject.THERMAL,
                f"blood flow of {_tissue} at {_temperature:.0f} °C",
                _flow,
                5.1e-5,
                Kind.ABSOLUTE,
                "kg/(s·m³)",
                LANG,
                Label.C,
                partial(flow, _tissue, _temperature),
            )
        )


def decay_length_mm(tissue: str, temperature_c: float) -> float:
    tissues = load_tissue_set()
    one = tissues.tissue(tissue)
    W = one.flow.w_per_m3k(np.array([temperature_c]), tissues.blood)[0]
    return 1e3 * float(np.sqrt(one.conductivity_w_mk / W))


for _tissue, _temperature, _length, _half_digit in (
    ("fat", 37.0, 12.7, 0.1),
    ("muscle", 37.0, 17.0, 0.5),
    ("muscle", 45.0, 5.8, 0.05),
):
    register(
        Check(
            f"decay_{_tissue}_{_temperature:.0f}c",
            Subject.THERMAL,
            f"decay length sqrt(k/W) of {_tissue} at {_temperature:.0f} °C",
            _length,
            _half_digit,
            Kind.ABSOLUTE,
            "mm",
            "sqrt(k/W) with tabulated k and c_b and Lang's flow",
            Label.C,
            partial(decay_length_mm, _tissue, _temperature),
        )
    )


SLAB = PennesTissue(0.3, 5e-4 * 1085.0 * 3680.0, 37.0, 700.0)
SLAB_AT_MM = {5: 36.27077, 10: 35.35939, 15: 34.11212, 20: 32.31855, 25: 29.67613, 30: 25.739144}
"""Slab w 5e-4 1/s, rho_b 1085, c_b 3680, T_b 37, k 0.3, q 700, L 30 mm, T(0) 37, air 20, h 50 [°C]."""


def slab_at(depth_mm: float) -> float:
    return float(slab(SLAB, 0.03, 37.0, Surface(50.0, 20.0), np.array([depth_mm / 1e3]))[0])


for _mm, _expected in SLAB_AT_MM.items():
    register(
        Check(
            f"slab_{_mm}mm",
            Subject.THERMAL,
            f"Pennes slab with a cooled face, {_mm} mm deep, our closed form",
            _expected,
            1e-5,
            Kind.ABSOLUTE,
            "°C",
            WORKED,
            Label.C,
            partial(slab_at, float(_mm)),
        )
    )


def incropera(exchange_w_m2k: float) -> CoveredSlab:
    """Example 3.12: muscle 30 mm under 3 mm of skin and fat, surroundings at 24 °C."""
    muscle = PennesTissue(0.5, 5e-4 * 1000.0 * 3600.0, 37.0, 700.0)
    return slab_under_cover(muscle, 0.03, 37.0, 0.3, 0.003, Surface(exchange_w_m2k, 24.0))


@check(
    "incropera_air_interface",
    Subject.THERMAL,
    "muscle under skin in air: inner temperature of the skin",
    expected=34.8,
    tolerance=0.05,
    unit="°C",
    source=INCROPERA,
    label=Label.M,
)
def _incropera_air_interface() -> float:
    return incropera(2.0 + 5.9).interface_c


@check(
    "incropera_air_heat",
    Subject.THERMAL,
    "muscle under skin in air: heat lost by 1.8 m²",
    expected=142.0,
    tolerance=0.5,
    unit="W",
    source=INCROPERA,
    label=Label.M,
)
def _incropera_air_heat() -> float:
    return 1.8 * incropera(2.0 + 5.9).flux_w_m2


@check(
    "incropera_water_interface",
    Subject.THERMAL,
    "muscle under skin in water: inner temperature of the skin",
    expected=28.2,
    tolerance=0.1,
    unit="°C",
    source=INCROPERA,
    label=Label.M,
)
def _incropera_water_interface() -> float:
    return incropera(200.0).interface_c


@check(
    "incropera_water_heat",
    Subject.THERMAL,
    "muscle under skin in water: heat lost by 1.8 m²",
    expected=514.0,
    tolerance=2.0,
    unit="W",
    source=INCROPERA,
    label=Label.M,
)
def _incropera_water_heat() -> float:
    return 1.8 * incropera(200.0).flux_w_m2


CALORIE_J = 4.184
FOREARM = PennesTissue(5e-4 * CALORIE_J * 1e2, 2.5e-4 * CALORIE_J * 1e6, 36.25, 1e-4 * CALORIE_J * 1e6)
FOREARM_SURFACE = Surface(1e-4 * CALORIE_J * 1e4, 26.6)


@check(
    "forearm_centre",
    Subject.THERMAL,
    "Pennes' forearm: centre",
    expected=36.031,
    tolerance=1e-3,
    unit="°C",
    source="Pennes, J Appl Physiol 1:93 (1948), constants from memory",
    label=Label.M,
)
def _forearm_centre() -> float:
    return float(cylinder(FOREARM, 0.04, FOREARM_SURFACE, np.array([0.0]))[0])


@check(
    "forearm_surface",
    Subject.THERMAL,
    "Pennes' forearm: surface",
    expected=34.016,
    tolerance=1e-3,
    unit="°C",
    source="Pennes, J Appl Physiol 1:93 (1948), constants from memory",
    label=Label.M,
)
def _forearm_surface() -> float:
    return float(cylinder(FOREARM, 0.04, FOREARM_SURFACE, np.array([0.04]))[0])


def cold_faces(minutes: float) -> float:
    """Mid-plane excess: L 0.04 m, k 0.5, rho·c 4e6, W 2000, q 20000."""
    middle = np.array([0.02])
    return float(
        slab_with_cold_faces(
            middle,
            60.0 * minutes,
            thickness_m=0.04,
            conductivity_w_mk=0.5,
            heat_capacity_j_m3k=4e6,
            flow_w_m3k=2000.0,
            source_w_m3=20000.0,
        )[0]
    )


for _minutes, _expected in ((5.0, 1.381095), (10.0, 2.438418), (30.0, 4.263041)):
    register(
        Check(
            f"cold_faces_{_minutes:.0f}min",
            Subject.THERMAL,
            f"slab between cold faces, mid-plane after {_minutes:.0f} min, our series",
            _expected,
            1e-5,
            Kind.ABSOLUTE,
            "K",
            SEPARATION,
            Label.C,
            partial(cold_faces, _minutes),
        )
    )


@check(
    "cold_faces_steady",
    Subject.THERMAL,
    "slab between cold faces, mid-plane, steady, our closed form",
    expected=4.771299,
    tolerance=1e-5,
    unit="K",
    source=SEPARATION,
    label=Label.C,
)
def _cold_faces_steady() -> float:
    middle = slab_with_cold_faces_steady(
        np.array([0.02]), thickness_m=0.04, conductivity_w_mk=0.5, flow_w_m3k=2000.0, source_w_m3=20000.0
    )
    return float(middle[0])
