"""Dielectric properties against printed tables, and the ratios that follow from them."""

from __future__ import annotations

import csv
from functools import cache, partial
from importlib.resources import files

import numpy as np
from scipy.constants import epsilon_0

from evenfield.tissue import FREQUENCY_HZ, Label, TissueSet, load_tissue_set
from evenfield.verify.checks import Check, Kind, Subject, check, register
from evenfield.verify.closed_forms.series_stack import normal_heating_ratio, solve_stack

GABRIEL = "S. Gabriel et al., Phys Med Biol 41:2271 (1996), Table 1, evaluated"
PRINTED = "BioMed Eng OnLine 2018, s12938-018-0473-9, Table 3"
STACK = "series capacitor with losses, by hand"


@cache
def tissues() -> TissueSet:
    return load_tissue_set()


def permittivity(tissue: str, frequency_hz: float) -> float:
    return float(tissues().tissue(tissue).dielectric.relative_permittivity(frequency_hz).real)


def conductivity(tissue: str, frequency_hz: float) -> float:
    return float(tissues().tissue(tissue).dielectric.admittivity(frequency_hz).real)


def admittivity(tissue: str) -> complex:
    """Admittivity at the treatment frequency [S/m]; "air" is vacuum."""
    if tissue == "air":
        return 2j * np.pi * FREQUENCY_HZ * epsilon_0
    return complex(tissues().tissue(tissue).dielectric.admittivity(FREQUENCY_HZ))


AT_TREATMENT_FREQUENCY = {
    "muscle": (95.7638, 0.654179),
    "fat_not_infiltrated": (8.45197, 0.0329236),
    "fat_average_infiltrated": (17.9284, 0.060994),
    "skin_dry": (165.03, 0.328873),
    "skin_wet": (114.455, 0.427776),
    "blood": (126.628, 1.15822),
    "bone_cortical": (21.7844, 0.0515779),
    "bone_cancellous": (41.9266, 0.141943),
    "bone_marrow_infiltrated": (26.2132, 0.142683),
    "bone_marrow_not_infiltrated": (10.453, 0.0171867),
    "tendon": (78.2026, 0.439635),
    "breast_fat": (6.26558, 0.0288332),
}
"""eps_r and sigma [S/m] at 27.12 MHz, computed once outside from the published parameters (C)."""

for _name, (_eps, _sigma) in AT_TREATMENT_FREQUENCY.items():
    for _quantity, _expected, _unit, _of in (
        ("eps_r", _eps, "", permittivity),
        ("sigma", _sigma, "S/m", conductivity),
    ):
        register(
            Check(
                f"{_name}_27mhz_{_quantity}",
                Subject.DIELECTRIC,
                f"{_name.replace('_', ' ')}, {_quantity} at 27.12 MHz",
                _expected,
                1e-5,
                Kind.RELATIVE,
                _unit,
                GABRIEL,
                Label.C,
                partial(_of, _name, FREQUENCY_HZ),
            )
        )


def last_digit(printed: str) -> float:
    """One unit in the last printed digit: 0.01 for "55.53", 1 for "29010"."""
    return 10.0 ** -len(printed.partition(".")[2])


def _register_printed() -> None:
    text = files("evenfield.verify").joinpath("data/printed_dielectric.csv").read_text("utf-8")
    for row in csv.DictReader(text.splitlines()):
        tissue, frequency, printed = row["tissue"], float(row["frequency_hz"]), row["printed"]
        quantity, unit = ("sigma", "S/m") if row["quantity"] == "sigma" else ("eps_r", "")
        register(
            Check(
                f"{tissue}_{frequency / 1e3:.0f}khz_{quantity}",
                Subject.DIELECTRIC,
                f"{tissue.replace('_', ' ')}, {quantity} at {frequency / 1e3:.0f} kHz",
                float(printed),
                last_digit(printed),
                Kind.ABSOLUTE,
                unit,
                PRINTED,
                Label.P,
                partial(conductivity if quantity == "sigma" else permittivity, tissue, frequency),
            )
        )


_register_printed()


@check(
    "fat_average_2450mhz_eps_r",
    Subject.DIELECTRIC,
    "fat average infiltrated, eps_r at 2.45 GHz",
    expected=10.82,
    tolerance=5e-4,
    source="IFAC/IT'IS value quoted in public code",
    label=Label.P,
)
def _fat_average_infiltrated_microwave() -> float:
    return permittivity("fat_average_infiltrated", 2.45e9)


@check(
    "breast_fat_2450mhz_eps_r",
    Subject.DIELECTRIC,
    "breast fat, eps_r at 2.45 GHz",
    expected=5.1467,
    tolerance=5e-5,
    source="IFAC value quoted in public code",
    label=Label.P,
)
def _breast_fat_microwave() -> float:
    return permittivity("breast_fat", 2.45e9)


@check(
    "breast_fat_2450mhz_sigma",
    Subject.DIELECTRIC,
    "breast fat, sigma at 2.45 GHz",
    unit="S/m",
    expected=0.13704,
    tolerance=5e-6,
    source="IFAC value quoted in public code",
    label=Label.P,
)
def _breast_fat_microwave_loss() -> float:
    return conductivity("breast_fat", 2.45e9)


@check(
    "normal_fat_not_infiltrated",
    Subject.DIELECTRIC,
    "heating of fat (not infiltrated) over muscle, normal field",
    expected=18.1205,
    tolerance=1e-4,
    kind=Kind.RELATIVE,
    source=STACK,
    label=Label.C,
)
def _normal_ratio_not_infiltrated() -> float:
    return normal_heating_ratio(admittivity("fat_not_infiltrated"), admittivity("muscle"))


@check(
    "normal_fat_average",
    Subject.DIELECTRIC,
    "heating of fat (average infiltrated) over muscle, normal field",
    expected=9.3998,
    tolerance=1e-4,
    kind=Kind.RELATIVE,
    source=STACK,
    label=Label.C,
)
def _normal_ratio_average() -> float:
    return normal_heating_ratio(admittivity("fat_average_infiltrated"), admittivity("muscle"))


STACK_LAYERS = ("air", "skin_dry", "fat_not_infiltrated", "muscle", "fat_not_infiltrated", "skin_dry", "air")


def stack_current(air_m: float) -> float:
    thickness = (air_m, 0.002, 0.015, 0.12, 0.015, 0.002, air_m)
    return abs(solve_stack(1000.0, thickness, [admittivity(name) for name in STACK_LAYERS]).current_density)


@check(
    "stack_current",
    Subject.DIELECTRIC,
    "stack air 20 mm | skin 2 | fat 15 | muscle 120 | mirrored, 1000 V: |J|",
    expected=37.20098,
    tolerance=1e-5,
    kind=Kind.RELATIVE,
    unit="A/m²",
    source=STACK,
    label=Label.C,
)
def _stack_current() -> float:
    return stack_current(0.02)


@check(
    "stack_current_wide",
    Subject.DIELECTRIC,
    "the same stack with air 40 mm: |J|",
    expected=18.7321,
    tolerance=1e-5,
    kind=Kind.RELATIVE,
    unit="A/m²",
    source=STACK,
    label=Label.C,
)
def _stack_current_wide() -> float:
    return stack_current(0.04)
