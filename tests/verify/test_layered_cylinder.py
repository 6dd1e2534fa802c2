"""Layered cylinder against textbook numbers, mpmath at 40 digits, and conservation of energy."""

from typing import Any, cast

import mpmath  # type: ignore[import-untyped]
import numpy as np
import pytest
from scipy.constants import c, epsilon_0, mu_0

from evenfield.verify.closed_forms.layered_cylinder import (
    Cylinder,
    axial_magnetic_field,
    axial_wave_order,
    full_wave_field,
    in_air,
    layer_losses,
    plane_wave_efficiencies,
    quasi_static_field,
    transverse_wave_order,
)

F = 27.12e6
OMEGA = 2.0 * np.pi * F
MUSCLE = complex(0.654179, OMEGA * epsilon_0 * 95.7638)
FAT = complex(0.0329236, OMEGA * epsilon_0 * 8.45197)
SKIN = complex(0.328873, OMEGA * epsilon_0 * 165.03)
BONE = complex(0.0515779, OMEGA * epsilon_0 * 21.7844)
THIGH = in_air((0.014, 0.078, 0.093, 0.095), (BONE, MUSCLE, FAT, SKIN), F)
mp: Any = mpmath.mp


def test_coated_cylinder_of_the_textbook() -> None:
    """Radii 1 and 2, y 10/2/1, uniform field: core 4/19 (as Jackson 1999, sec. 4.4; C)."""
    cylinder = Cylinder((1.0, 2.0), (10.0, 2.0), 1.0, 1.0)
    r = np.array([0.5, 1.5, 3.0])
    e_r, e_t = quasi_static_field(cylinder, 1, r)
    # potential outside (r/R) = r/2: halve the textbook's unit field
    B, C, D = 0.631578947, -0.421052632, -1.894736842
    assert -e_r.real * 2.0 == pytest.approx([4 / 19, B - C / 1.5**2, 1.0 - D / 9.0], rel=1e-8)
    assert e_t.real * 2.0 == pytest.approx([4 / 19, B + C / 1.5**2, 1.0 + D / 9.0], rel=1e-8)


def test_muscle_cylinder_hardly_admits_the_field() -> None:
    """|E_in/E_0| = |2 y_0 / (y_0 + y)| = 0.004502 at 27.12 MHz (textbook, C)."""
    e_r, _ = quasi_static_field(in_air((0.05,), (MUSCLE,), F), 1, np.array([0.02]))
    assert abs(e_r[0]) * 0.05 == pytest.approx(0.004502, rel=1e-3)


def _published_efficiency(x: float, m: complex, *, along: bool) -> float:
    """Q_sca of a plain cylinder from b_n and a_n as printed: Bohren & Huffman 1983, eq. 8.30, 8.32."""
    mp.dps = 40
    total = mp.mpf(0)
    for n in range(-25, 26):
        J, J1 = mp.besselj(n, x), mp.besselj(n, x, 1)
        Jm, Jm1 = mp.besselj(n, m * x), mp.besselj(n, m * x, 1)
        H, H1 = mp.hankel1(n, x), (mp.hankel1(n - 1, x) - mp.hankel1(n + 1, x)) / 2
        if along:
            b = (Jm * J1 - m * Jm1 * J) / (Jm * H1 - m * Jm1 * H)
        else:
            b = (m * Jm * J1 - Jm1 * J) / (m * Jm * H1 - Jm1 * H)
        total += abs(b) ** 2
    return float(2 / mp.mpf(x) * total)


@pytest.mark.parametrize("along", [True, False])
@pytest.mark.parametrize("index", [1.55, 1.33 - 0.1j])
def test_scattering_of_a_plane_wave_as_printed(along: bool, index: complex) -> None:
    wavelength, radius = 0.6328e-6, 0.525e-6
    f = c / wavelength
    cylinder = in_air((radius,), (2j * np.pi * f * epsilon_0 * index**2,), f)
    got = plane_wave_efficiencies(cylinder, electric_field_along_axis=along, orders=25)
    x = 2.0 * np.pi * radius / wavelength
    # The book counts time as exp(−iωt): its index is the conjugate of ours.
    expected = _published_efficiency(x, np.conj(index), along=along)
    assert got.scattering == pytest.approx(expected, rel=1e-7)
    if index.imag == 0.0:
        assert got.extinction == pytest.approx(got.scattering, rel=1e-10)
    else:
        assert got.extinction > 1.1 * got.scattering


def _mpmath_order_one(r: float) -> tuple[complex, complex]:
    """Order 1 of the thigh by a dense solve at 40 digits, written from the boundary conditions alone."""
    mp.dps = 40
    y = [mp.mpc(v) for v in (*THIGH.admittivity, THIGH.outside)]
    k = [mp.sqrt(-1j * mp.mpf(OMEGA) * mp.mpf(mu_0) * v) for v in y]
    radii = [mp.mpf(v) for v in THIGH.outer_radius_m]

    def outgoing(x: Any) -> Any:
        return mp.hankel2(1, x)

    def regular(x: Any) -> Any:
        return mp.besselj(1, x)

    def singular(x: Any) -> Any:
        return mp.bessely(1, x)

    def value(f: Any, q: Any, a: Any) -> Any:
        return f(q * a)

    def slope(f: Any, q: Any, a: Any) -> Any:
        return mp.diff(lambda s: f(q * s), a)

    A, b = mp.matrix(8, 8), mp.matrix(8, 1)
    incident = -y[4] * 2 / k[4] / radii[3]
    for i, a in enumerate(radii):
        for row, act, w_in, w_out in (
            (2 * i, value, 1, 1),
            (2 * i + 1, slope, 1 / y[i], 1 / y[i + 1]),
        ):
            for col, f in ((2 * i - 1, regular), (2 * i, singular)) if i else ((0, regular),):
                A[row, col] = w_in * act(f, k[i], a)
            if i < 3:
                A[row, 2 * i + 1], A[row, 2 * i + 2] = (
                    -w_out * act(regular, k[i + 1], a),
                    -w_out * act(singular, k[i + 1], a),
                )
            else:
                A[row, 7] = -w_out * act(outgoing, k[4], a)
                b[row] = w_out * incident * act(regular, k[4], a)
    s = mp.lu_solve(A, b)
    i = int(np.searchsorted(THIGH.outer_radius_m, r))
    parts = [(s[0], regular)] if i == 0 else [(s[2 * i - 1], regular), (s[2 * i], singular)]
    h = sum(q * f(k[i] * r) for q, f in parts)
    h1 = sum(q * slope(f, k[i], mp.mpf(r)) for q, f in parts)
    return complex(h / (y[i] * r)), complex(-h1 / y[i])


@pytest.mark.parametrize("radius", [0.01, 0.04, 0.085, 0.0945])
def test_full_wave_layers_against_forty_digits(radius: float) -> None:
    e_r, e_t = full_wave_field(THIGH, 1, np.array([radius]))
    expected = _mpmath_order_one(radius)
    assert (e_r[0], e_t[0]) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("n", [1, 2, 7, 40])
def test_full_wave_meets_quasi_static_when_slow(n: int) -> None:
    slow = Cylinder(THIGH.outer_radius_m, THIGH.admittivity, 1e3, THIGH.outside)
    r = np.array([0.013, 0.05, 0.08, 0.094])
    for full, quasi in zip(full_wave_field(slow, n, r), quasi_static_field(slow, n, r), strict=True):
        assert np.abs(full - quasi) == pytest.approx(0.0 * r, abs=1e-5 * np.abs(quasi).max())


@pytest.mark.parametrize("n", [0, 1, 3])
def test_loss_equals_the_energy_that_flows_in(n: int) -> None:
    """Poynting: mean over the circle of Re(E_θ H_z*) inward at the surface, times 2πR, is the loss inside."""
    order = transverse_wave_order(THIGH, n)
    R = THIGH.outer_radius_m[-1]
    at = np.array([R * (1.0 + 1e-12)])
    e_t = -order.slope(at)[0] / THIGH.outside
    mean = 1.0 if n == 0 else 0.5
    inflow = -2.0 * np.pi * R * mean * (e_t * np.conj(order.value(at)[0])).real

    def mean_square(r: Any) -> Any:
        y = np.array(THIGH.admittivity)[THIGH.layer_of(r)]
        return mean * (np.abs(order.slope(r) / y) ** 2 + np.abs(n * order.value(r) / (y * r)) ** 2)

    assert layer_losses(THIGH, mean_square).sum() == pytest.approx(inflow, rel=1e-8)


def test_layers_of_one_material_are_no_layers() -> None:
    r = np.array([0.01, 0.05, 0.09])
    one = in_air((0.095,), (MUSCLE,), F)
    four = in_air(THIGH.outer_radius_m, (MUSCLE,) * 4, F)
    for field in (full_wave_field, quasi_static_field):
        for a, b in zip(field(one, 3, r), field(four, 3, r), strict=True):
            assert a == pytest.approx(b, rel=1e-9)
    assert axial_wave_order(one, 1).value(r) == pytest.approx(axial_wave_order(four, 1).value(r), rel=1e-9)


def test_a_weak_magnetic_field_induces_faradays_field() -> None:
    """With the skin effect small (1 % salt water, 1 MHz): E_θ = −jωμ₀ H r / 2, Faraday's law."""
    water = in_air((0.02,), (complex(1.0, 2 * np.pi * 1e5 * epsilon_0 * 78),), 1e5)
    r = np.array([0.005, 0.015])
    got = axial_magnetic_field(water, r)
    assert got == pytest.approx(-0.5j * water.omega * mu_0 * r, rel=1e-3)


def test_radii_must_increase() -> None:
    with pytest.raises(ValueError, match="must increase"):
        in_air((0.05, 0.04), (MUSCLE, FAT), F)
    with pytest.raises(ValueError, match="one entry per layer"):
        in_air((0.05,), cast("tuple[complex, ...]", (MUSCLE, FAT)), F)
