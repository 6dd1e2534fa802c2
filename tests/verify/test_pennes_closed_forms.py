"""Bioheat closed forms against worked numbers and against the equation they solve."""

from typing import TypedDict

import numpy as np
import pytest

from evenfield.verify.closed_forms.pennes_steady import (
    PennesTissue,
    Surface,
    cylinder,
    slab,
    slab_under_cover,
)
from evenfield.verify.closed_forms.pennes_transient import (
    cylinder_from_rest,
    slab_with_cold_faces,
    slab_with_cold_faces_steady,
    uniform_source,
)


class ColdFaces(TypedDict):
    thickness_m: float
    conductivity_w_mk: float
    flow_w_m3k: float
    source_w_m3: float


class RoundBody(TypedDict):
    radius_m: float
    conductivity_w_mk: float
    flow_w_m3k: float
    source_w_m3: float
    heat_capacity_j_m3k: float
    exchange_w_m2k: float


SLAB = PennesTissue(0.3, 5e-4 * 1085.0 * 3680.0, 37.0, 700.0)
COLD = ColdFaces(thickness_m=0.04, conductivity_w_mk=0.5, flow_w_m3k=2000.0, source_w_m3=20000.0)


def test_slab_with_a_cooled_face() -> None:
    """k 0.3, q 700, L 0.03, T(0) 37, air 20, h 50 (C)."""
    x = np.array([0.005, 0.01, 0.015, 0.02, 0.025, 0.03])
    got = slab(SLAB, 0.03, 37.0, Surface(50.0, 20.0), x)
    assert got == pytest.approx([36.27077, 35.35939, 34.11212, 32.31855, 29.67613, 25.739144], abs=5e-6)


def test_slab_satisfies_pennes_and_both_faces() -> None:
    surface = Surface(12.0, 24.0)
    e = 1e-5
    x = np.array([0.0, 0.01 - e, 0.01, 0.01 + e, 0.03 - e, 0.03])
    T = slab(SLAB, 0.03, 36.0, surface, x)
    curvature = (T[1] - 2 * T[2] + T[3]) / e**2
    assert T[0] == pytest.approx(36.0, abs=1e-12)
    assert 0.3 * curvature + SLAB.flow_w_m3k * (37.0 - T[2]) + 700.0 == pytest.approx(0.0, abs=1.0)
    assert -0.3 * (T[5] - T[4]) / e == pytest.approx(12.0 * (T[5] - 24.0), rel=1e-3)


@pytest.mark.parametrize(
    ("exchange", "interface", "heat"),
    [(2.0 + 5.9, (34.8, 0.05), (142.0, 0.5)), (200.0, (28.2, 0.1), (514.0, 2.0))],
)
def test_muscle_under_skin_in_air_and_in_water(
    exchange: float, interface: tuple[float, float], heat: tuple[float, float]
) -> None:
    """Incropera, *Fundamentals of Heat and Mass Transfer*, Example 3.12 (M): 1.8 m² in air, in water."""
    muscle = PennesTissue(0.5, 5e-4 * 1000.0 * 3600.0, 37.0, 700.0)
    got = slab_under_cover(muscle, 0.03, 37.0, 0.3, 0.003, Surface(exchange, 24.0))
    assert got.interface_c == pytest.approx(interface[0], abs=interface[1])
    assert got.flux_w_m2 * 1.8 == pytest.approx(heat[0], abs=heat[1])


def test_forearm() -> None:
    """Pennes 1948 (constants M, in cal, cm, s): k 5e-4, source 1e-4, R 4, flow 2.5e-4, h 1e-4."""
    calorie = 4.184
    arm = PennesTissue(5e-4 * calorie * 1e2, 2.5e-4 * calorie * 1e6, 36.25, 1e-4 * calorie * 1e6)
    got = cylinder(arm, 0.04, Surface(1e-4 * calorie * 1e4, 26.6), np.array([0.0, 0.04]))
    assert got == pytest.approx([36.031, 34.016], abs=1e-3)


def test_transient_between_cold_faces() -> None:
    """L 0.04, k 0.5, ρc 4e6, W 2000, q 20000: mid-plane at 5, 10 and 30 min, and steady (C)."""
    middle = np.array([0.02])
    got = [slab_with_cold_faces(middle, 60.0 * m, heat_capacity_j_m3k=4e6, **COLD)[0] for m in (5, 10, 30)]
    assert got == pytest.approx([1.381095, 2.438418, 4.263041], abs=1e-6)
    assert slab_with_cold_faces_steady(middle, **COLD)[0] == pytest.approx(4.771299, abs=1e-6)
    late = slab_with_cold_faces(middle, 1e6, heat_capacity_j_m3k=4e6, **COLD)
    assert late == pytest.approx(slab_with_cold_faces_steady(middle, **COLD), abs=1e-6)


def test_cylinder_from_rest_starts_straight_and_ends_steady() -> None:
    r = np.array([0.0, 0.05, 0.09, 0.095])
    given = RoundBody(
        radius_m=0.095,
        conductivity_w_mk=0.5,
        heat_capacity_j_m3k=4e6,
        flow_w_m3k=2000.0,
        source_w_m3=20000.0,
        exchange_w_m2k=20.0,
    )
    steady = cylinder(PennesTissue(0.5, 2000.0, 0.0, 20000.0), 0.095, Surface(20.0, 0.0), r)
    assert cylinder_from_rest(r, 1e6, **given) == pytest.approx(steady, abs=1e-4)
    assert cylinder_from_rest(r, 60.0, **given)[0] == pytest.approx(60.0 * 20000.0 / 4e6, rel=0.02)
    e = 1e-4
    near = cylinder_from_rest(np.array([0.095 - e, 0.095]), 600.0, **given)
    assert -0.5 * (near[1] - near[0]) / e == pytest.approx(20.0 * near[1], rel=0.02)


def test_uniform_source_starts_straight_and_levels_off() -> None:
    t = np.array([1.0, 1e7])
    got = uniform_source(t, heat_capacity_j_m3k=4e6, flow_w_m3k=2000.0, source_w_m3=20000.0)
    assert got == pytest.approx([20000.0 / 4e6, 10.0], rel=1e-3)
