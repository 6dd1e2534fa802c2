"""Series stack against a case, mm: air 20, skin 2, fat 15, muscle 120, fat 15, skin 2, air 20; 1000 V rms.

Expected values computed once from the series-capacitor formula by hand with the published Gabriel parameters
at 27.12 MHz (C).
"""

import numpy as np
import pytest
from scipy.constants import epsilon_0

from evenfield.verify.closed_forms.series_stack import normal_heating_ratio, solve_stack

OMEGA = 2.0 * np.pi * 27.12e6


def admittivity(sigma: float, eps_r: float) -> complex:
    return complex(sigma, OMEGA * epsilon_0 * eps_r)


AIR = admittivity(0.0, 1.0)
SKIN = admittivity(0.328873, 165.03)
FAT = admittivity(0.0329236, 8.45197)
FAT_INFILTRATED = admittivity(0.060994, 17.9284)
MUSCLE = admittivity(0.654179, 95.7638)
LAYERS = (AIR, SKIN, FAT, MUSCLE, FAT, SKIN, AIR)


def test_current_and_fields_of_the_worked_case() -> None:
    stack = solve_stack(1000.0, (0.02, 0.002, 0.015, 0.12, 0.015, 0.002, 0.02), LAYERS)
    assert abs(stack.current_density) == pytest.approx(37.20098, rel=1e-5)
    assert np.abs(stack.field[:4]) == pytest.approx([24657.0, 90.19, 1053.6, 55.53], rel=1e-4)
    sigma, density = np.array([0.328873, 0.0329236, 0.654179]), np.array([1109.0, 911.0, 1090.0])
    sar = sigma * np.abs(stack.field[1:4]) ** 2 / density
    assert sar == pytest.approx([2.412, 40.12, 1.851], rel=3e-4)


def test_wider_gaps_lower_the_current() -> None:
    stack = solve_stack(1000.0, (0.04, 0.002, 0.015, 0.12, 0.015, 0.002, 0.04), LAYERS)
    assert abs(stack.current_density) == pytest.approx(18.7321, rel=1e-5)


def test_fat_takes_more_than_muscle_in_a_normal_field() -> None:
    assert normal_heating_ratio(FAT, MUSCLE) == pytest.approx(18.1205, rel=1e-4)
    assert normal_heating_ratio(FAT_INFILTRATED, MUSCLE) == pytest.approx(9.3998, rel=1e-4)


def test_voltages_add_up() -> None:
    d = (0.01, 0.002, 0.03)
    stack = solve_stack(3.0 + 4.0j, d, (AIR, SKIN, FAT))
    assert np.sum(stack.field * np.array(d)) == pytest.approx(3.0 + 4.0j)


def test_unequal_lists_are_refused() -> None:
    with pytest.raises(ValueError, match="3 layers and admittivity 2"):
        solve_stack(1.0, (0.1, 0.1, 0.1), (AIR, FAT))
