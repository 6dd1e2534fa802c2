"""Dielectric dispersion against printed values and closed forms.

dielectric_values.csv: rows P are 50 numbers of BioMed. Eng. OnLine 2018 (s12938-018-0473-9), Table 3, and
three at 2.45 GHz quoted in public code, each held to one unit (2.45 GHz: half a unit) of its last printed
digit; rows C are the Gabriel 1996 formula evaluated by an independent program. Left out on purpose: the
wet-skin sigma at 200 kHz, printed 0.1135 where the formula gives 0.1150 (taken as a misprint).
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from evenfield.tissue import FREQUENCY_HZ, ColeCole, Label, TissueSet, load_tissue_set
from evenfield.tissue.dispersion import effective_medium

ROWS = list(
    csv.DictReader((Path(__file__).parent / "dielectric_values.csv").read_text(encoding="utf-8").splitlines())
)


@pytest.fixture(scope="module")
def tissues() -> TissueSet:
    return load_tissue_set()


@pytest.mark.parametrize(
    "row", ROWS, ids=lambda row: f"{row['tissue']}-{row['frequency_hz']}-{row['quantity']}"
)
def test_printed_and_independent_values(tissues: TissueSet, row: dict[str, str]) -> None:
    dielectric = tissues.tissue(row["tissue"]).dielectric
    frequency = float(row["frequency_hz"])
    got = {
        "eps_r": complex(dielectric.relative_permittivity(frequency)).real,
        "sigma": complex(dielectric.admittivity(frequency)).real,
    }[row["quantity"]]
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)


def test_the_table_of_values_is_whole() -> None:
    printed = [row for row in ROWS if row["source"].startswith("BioMed")]
    assert len(printed) == 49  # 50 less the misprint
    assert {row["tissue"] for row in ROWS if row["frequency_hz"] == "27120000"} == {
        name for name in load_tissue_set().tissues if name != "core"
    }


def test_the_two_fats_differ_as_the_series_stack_says(tissues: TissueSet) -> None:
    """Heating per volume of fat against muscle in a field normal to the layers (current common to both):
    q_fat/q_muscle = Re(1/y_fat)/Re(1/y_muscle); 18.1205 and 9.3998 (C, series capacitor)."""
    resistivity = {
        name: (1.0 / complex(tissues.tissue(name).dielectric.admittivity(FREQUENCY_HZ))).real
        for name in ("fat_not_infiltrated", "fat_average_infiltrated", "muscle")
    }
    assert resistivity["fat_not_infiltrated"] / resistivity["muscle"] == pytest.approx(18.1205, rel=1e-4)
    assert resistivity["fat_average_infiltrated"] / resistivity["muscle"] == pytest.approx(9.3998, rel=1e-4)


def test_one_debye_term_follows_its_closed_form() -> None:
    """alpha = 0, one term: eps' = eps_inf + d/(1+x²), sigma = sigma_s + eps0 ω d x/(1+x²), x = ωτ."""
    tau, step, frequency = 1e-8, 100.0, 2e7
    term = ColeCole(
        3.0, (step, 0, 0, 0), (tau, 1, 1, 1), (0, 0, 0, 0), 0.05, "invented for the test", Label.A
    )
    omega = 2 * np.pi * frequency
    x = omega * tau
    y = complex(term.admittivity(frequency))
    assert complex(term.relative_permittivity(frequency)).real == pytest.approx(
        3 + step / (1 + x * x), rel=1e-12
    )
    assert y.real == pytest.approx(0.05 + 8.8541878128e-12 * omega * step * x / (1 + x * x), rel=1e-9)
    assert y.imag == pytest.approx(omega * 8.8541878128e-12 * (3 + step / (1 + x * x)), rel=1e-9)


def test_frequency_arrays_keep_their_shape_and_zero_is_refused(tissues: TissueSet) -> None:
    muscle = tissues.tissue("muscle").dielectric
    frequencies = np.geomspace(1e4, 1e9, 6).reshape(2, 3)
    assert muscle.admittivity(frequencies).shape == (2, 3)
    assert complex(muscle.admittivity(frequencies)[1, 2]) == pytest.approx(
        complex(muscle.admittivity(frequencies[1, 2]))
    )
    with pytest.raises(ValueError, match="above 0 Hz, got 0 Hz"):
        muscle.admittivity(0.0)


@pytest.mark.parametrize("fraction", [0.1, 0.4, 0.6, 0.95])
def test_effective_medium_solves_its_quadratic(fraction: float) -> None:
    """Two parts: y = (b + sqrt(b² + 8 y1 y2))/4, b = (3 f1 − 1) y1 + (3 f2 − 1) y2 (Bruggeman's rule, C)."""
    y1, y2 = 0.654 + 0.144j, 0.061 + 0.027j
    b = (3 * fraction - 1) * y1 + (2 - 3 * fraction) * y2
    expected = (b + np.sqrt(b * b + 8 * y1 * y2)) / 4
    assert complex(effective_medium((fraction, 1 - fraction), (y1, y2))) == pytest.approx(expected, rel=1e-12)


def test_effective_medium_lies_within_the_hashin_shtrikman_bounds() -> None:
    """Bounds of Z. Hashin and S. Shtrikman, J. Appl. Phys. 33:3125 (1962), real conductivities (form M)."""
    for f in np.linspace(0.05, 0.95, 10):
        k1, k2 = 0.49, 0.05
        upper = k1 + (1 - f) / (1 / (k2 - k1) + f / (3 * k1))
        lower = k2 + f / (1 / (k1 - k2) + (1 - f) / (3 * k2))
        assert lower <= complex(effective_medium((f, 1 - f), (k1, k2))).real <= upper
    assert complex(effective_medium((1.0,), (0.49,))) == pytest.approx(0.49)
