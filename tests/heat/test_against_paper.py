"""The full-order heat model against closed forms and worked examples."""

import numpy as np
import pytest

from evenfield.heat.history import simulate
from evenfield.heat.power import PowerCurve
from evenfield.heat.stepping import steady
from evenfield.verify.closed_forms.pennes_steady import PennesTissue, Surface, cylinder
from evenfield.verify.closed_forms.pennes_transient import cylinder_from_rest, uniform_source
from evenfield.verify.heat_by_hand import FAR, HandLayer, along_radius, body
from evenfield.verify.heat_orders import HELD, error_in_time, slab_error


def test_pennes_slab_and_its_order() -> None:
    """Worked numbers of the one-dimensional solution (C); linear elements are of second order."""
    coarse, fine = slab_error(12), slab_error(24)
    assert fine < 0.01
    assert np.log2(coarse / fine) == pytest.approx(2.0, abs=0.15)


def test_pennes_slab_in_time() -> None:
    """Both faces at 0, L 0.04, k 0.5, ρc 4e6, W 2000, q 20000: mid-plane at 5, 10, 30 min and steady (C).

    Half the slab: its middle is a plane of symmetry.
    """
    fat = HandLayer("fat", 0.020, 32, k=0.5, w=2000.0, rho_c=4e6)
    model = body([fat], inner_m=FAR, arterial_c=0.0, exchange=1e7, air_c=0.0, heating=20000.0)
    times = np.array([0.0, 300.0, 600.0, 1800.0, 18000.0])
    run = simulate(
        model,
        PowerCurve.constant(1.0, 18000.0),
        times,
        baseline_c=np.zeros(model.capacity.shape),
        tolerance_k=0.02,
    )
    middle = run.temperature_c[:, 2, 0, 0]
    assert middle == pytest.approx([0.0, 1.381095, 2.438418, 4.263041, 4.771299], abs=0.01)


def test_muscle_under_fat_in_air() -> None:
    """Incropera, *Fundamentals of Heat and Mass Transfer*, Example 3.12 (M): 34.8 °C at the interface, 142 W
    from 1.8 m²."""
    muscle = HandLayer("muscle", 0.030, 30, k=0.5, w=5e-4 * 1000.0 * 3600.0, q=700.0)
    fat = HandLayer("fat", 0.003, 6, k=0.3, w=0.0)
    model = body([HELD, muscle, fat], inner_m=FAR, arterial_c=37.0, exchange=2.0 + 5.9, air_c=24.0)
    temperature = steady(model, tolerance_k=1e-4)
    assert along_radius(temperature)[31] == pytest.approx(34.8, abs=0.05)
    per_area = model.skin_loss(temperature).sum() / model.area.sum()
    assert 1.8 * per_area == pytest.approx(142.0, abs=0.5)


def test_forearm() -> None:
    """Pennes, *J. Appl. Physiol.* 1:93 (1948), constants M in cal, cm, s: k 5e-4, heat 1e-4, R 4, flow
    2.5e-4, h 1e-4, arterial 36.25, air 26.6 °C: centre 36.031, surface 34.016 °C (C)."""
    calorie = 4.184
    k, w, q, h = 5e-4 * calorie * 1e2, 2.5e-4 * calorie * 1e6, 1e-4 * calorie * 1e6, 1e-4 * calorie * 1e4
    hole = 0.0008
    fat = HandLayer("fat", 0.04 - hole, 40, k=k, w=w, q=q)
    model = body([fat], inner_m=hole, arterial_c=36.25, exchange=h, air_c=26.6)
    got = along_radius(steady(model, tolerance_k=1e-5))
    # a prism of sixteen sides loses a little more than the cylinder it surrounds
    assert got[[0, -1]] == pytest.approx([36.031, 34.016], abs=0.01)
    radius = np.linspace(hole, 0.04, 41)
    paper = cylinder(PennesTissue(k, w, 36.25, q), 0.04, Surface(h, 26.6), radius)
    assert got == pytest.approx(paper, abs=0.02)


def test_cylinder_warming_from_rest() -> None:
    """Bessel series (Carslaw and Jaeger 1959, sec. 7.8, with blood flow) after 10 and 40 min."""
    k, w, rho_c, q, h = 0.5, 2000.0, 4e6, 20000.0, 12.0
    fat = HandLayer("fat", 0.04 - 0.0004, 40, k=k, w=w, rho_c=rho_c)
    model = body([fat], inner_m=0.0004, arterial_c=0.0, exchange=h, air_c=0.0, heating=q)
    run = simulate(
        model,
        PowerCurve.constant(1.0, 2400.0),
        np.array([0.0, 600.0, 2400.0]),
        baseline_c=np.zeros(model.capacity.shape),
    )
    radius = np.linspace(0.0004, 0.04, 41)
    for row, seconds in ((1, 600.0), (2, 2400.0)):
        paper = cylinder_from_rest(
            radius,
            seconds,
            radius_m=0.04,
            conductivity_w_mk=k,
            heat_capacity_j_m3k=rho_c,
            flow_w_m3k=w,
            source_w_m3=q,
            exchange_w_m2k=h,
        )
        assert run.temperature_c[row, 2, 0] == pytest.approx(paper, abs=0.03)


def test_uniform_source() -> None:
    """dT = (q/W)(1 − exp(−tW/ρc)) where nothing is conducted away."""
    fat = HandLayer("fat", 0.03, 4, k=0.2, w=2000.0, rho_c=4e6)
    model = body([fat], inner_m=0.01, arterial_c=37.0, exchange=0.0, air_c=20.0, heating=20000.0)
    minutes = np.arange(0.0, 46.0, 5.0)
    run = simulate(
        model,
        PowerCurve.constant(1.0, 2700.0),
        60.0 * minutes,
        baseline_c=np.full(model.capacity.shape, 37.0),
    )
    paper = 37.0 + uniform_source(
        60.0 * minutes, heat_capacity_j_m3k=4e6, flow_w_m3k=2000.0, source_w_m3=20000.0
    )
    assert run.temperature_c[:, 2, 3, 2] == pytest.approx(paper, abs=0.02)


def test_steps_are_of_second_order_with_flow_that_depends_on_temperature() -> None:
    """Against scipy's `solve_ivp` (DOP853, 1e-10) for the same law in one point."""
    errors = [error_in_time(count) for count in (5, 10, 20)]
    assert errors[-1] < 0.002
    assert np.log2(errors[0] / errors[1]) == pytest.approx(2.0, abs=0.2)
    assert np.log2(errors[1] / errors[2]) == pytest.approx(2.0, abs=0.2)
