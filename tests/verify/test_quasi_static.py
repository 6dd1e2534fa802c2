"""The comparison with full wave: its limits, its drives, and the figures the page states."""

from pathlib import Path

import numpy as np
import pytest
from scipy.constants import epsilon_0, mu_0

from evenfield.tissue import load_tissue_set
from evenfield.verify.closed_forms.layered_cylinder import axial_magnetic_field, quasi_static_field
from evenfield.verify.quasi_static import (
    FACING,
    FATS,
    SIDE_BY_SIDE,
    UNIFORM,
    CrossSection,
    Drive,
    Strip,
    compare,
    limbs,
    stray_magnetic,
    table,
)

PAGE = Path(__file__).parents[2] / "docs" / "quasi_static.md"
TISSUES = load_tissue_set()
ARM, THIGH, TRUNK = limbs(FATS[0])


def test_no_difference_when_slow() -> None:
    found = compare(THIGH, UNIFORM, TISSUES, frequency_hz=1e4)
    assert found.share == pytest.approx(found.share_full, abs=1e-6)
    assert found.l2 == pytest.approx(0.0 * found.l2, abs=1e-5)


def test_error_grows_with_the_square_of_a_low_frequency() -> None:
    """Retardation enters as (ka)². Tissue of fixed admittivity would give exactly 4; dispersion moves it."""
    low, high = (abs(compare(THIGH, UNIFORM, TISSUES, f).drive_error) for f in (1e6, 2e6))
    assert 3.0 < high / low < 5.0


def test_strips_pull_the_heat_under_them() -> None:
    theta = np.array([0.0, np.pi / 2])
    r = np.array([0.085])
    strips = CrossSection(THIGH.cylinder(TISSUES), FACING, quasi_static_field).square(r, theta)[0]
    uniform = CrossSection(THIGH.cylinder(TISSUES), UNIFORM, quasi_static_field).square(r, theta)[0]
    assert strips[0] / strips[1] > uniform[0] / uniform[1]


def test_multipoles_are_those_of_line_charges() -> None:
    """Σ (P_n cos nθ + Q_n sin nθ)(r/R)ⁿ against −ln of the distance, summed over the arcs' charges."""
    R, r, angle = 0.095, 0.07, np.array([0.3, 1.9, 4.0])
    P, Q = SIDE_BY_SIDE.multipoles(R)
    n = np.arange(1, P.size + 1)
    series = ((r / R) ** n * P * np.cos(np.outer(angle, n))).sum(axis=1)
    series += ((r / R) ** n * Q * np.sin(np.outer(angle, n))).sum(axis=1)
    node, weight = np.polynomial.legendre.leggauss(40)
    direct = np.zeros(3)
    for strip in SIDE_BY_SIDE.strips:
        S = R + strip.gap_m
        at = strip.angle_rad + strip.width_m / 2.0 / S * node
        distance = np.abs(r * np.exp(1j * angle)[:, None] - S * np.exp(1j * at))
        direct -= strip.charge * (np.log(distance) * weight / 2.0).sum(axis=1)
    assert series == pytest.approx(direct, rel=1e-8)


def test_charge_far_away_is_a_uniform_field() -> None:
    far = Drive("far", (Strip(0.0, 0.1, 50.0, 1.0), Strip(np.pi, 0.1, 50.0, -1.0)))
    got = compare(ARM, far, TISSUES)
    assert got.share == pytest.approx(compare(ARM, UNIFORM, TISSUES).share, rel=1e-4)


def test_mean_square_is_the_mean_of_the_square() -> None:
    section = CrossSection(THIGH.cylinder(TISSUES), FACING, quasi_static_field)
    r = np.array([0.05, 0.08, 0.094])
    theta = np.linspace(0.0, 2.0 * np.pi, 256, endpoint=False)
    assert section.square(r, theta).mean(axis=1) == pytest.approx(section.mean_square(r), rel=1e-6)


def test_a_plane_wave_would_measure_its_magnetic_field() -> None:
    """What the page says: E/377 Ω induces several times the field that E itself makes in muscle."""
    cylinder = THIGH.cylinder(TISSUES)
    r = np.array([0.07])
    impedance = float(np.sqrt(mu_0 / epsilon_0))
    induced = np.abs(axial_magnetic_field(cylinder, r))[0] / impedance
    e_r, _ = quasi_static_field(cylinder, 1, r)
    assert induced > 3.0 * abs(e_r[0]) * cylinder.outer_radius_m[-1]


def test_stray_magnetic_field_follows_faraday() -> None:
    """Without skin effect: σ(ωμ₀r/2)² and σ(ωμ₀x)² over the section."""
    cylinder = ARM.cylinder(TISSUES)
    sigma = np.array(cylinder.admittivity).real
    moment = np.diff(np.array([0.0, *cylinder.outer_radius_m]) ** 4) / 4.0
    along = 2.0 * np.pi * (cylinder.omega * mu_0 / 2.0) ** 2 * np.sum(sigma * moment)
    got = stray_magnetic(ARM, TISSUES)
    assert got.along_w_m == pytest.approx(along, rel=0.05)
    assert got.across_w_m == pytest.approx(2.0 * got.along_w_m, rel=0.1)


@pytest.mark.slow
def test_page_shows_the_tables() -> None:
    page = PAGE.read_text(encoding="utf-8")
    rows = [line for line in table(TISSUES).splitlines() if line.startswith("|")]
    missing = [line for line in rows if line not in page]
    assert not missing, "run: python -m evenfield.verify.quasi_static"
