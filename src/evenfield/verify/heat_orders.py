"""The heat solver's error with so many cells or time steps, against answers from elsewhere."""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy.integrate import solve_ivp

from evenfield.heat.stepping import steady, steps
from evenfield.tissue import load_tissue_set
from evenfield.verify.closed_forms.pennes_steady import PennesTissue, Surface, slab
from evenfield.verify.heat_by_hand import FAR, HEAT_CAPACITY_OF_BLOOD, Floats, HandLayer, along_radius, body

HELD = HandLayer("bone", 1e-4, 1, k=1.0, w=1e10)
"""Holds its faces at the arterial temperature."""
HEATING, CAPACITY, END_S = 30000.0, 3e6, 1200.0
"""W/m³, J/(m³ K), s."""


def slab_error(cells: int) -> float:
    """Pennes slab of k 0.3, W 5e-4·1085·3680, q 700, L 30 mm, 37 °C within, 20 °C air, h 50: largest error of
    the steady solver with so many cells through it, K."""
    flow = 5e-4 * 1085.0 * 3680.0
    fat = HandLayer("fat", 0.030, cells, k=0.3, w=flow, q=700.0)
    model = body([HELD, fat], inner_m=FAR, arterial_c=37.0, exchange=50.0, air_c=20.0)
    got = along_radius(steady(model, tolerance_k=1e-5))[1:]
    at = np.linspace(0.0, 0.030, cells + 1)
    exact = slab(PennesTissue(0.3, flow, 37.0, 700.0), 0.030, 37.0, Surface(50.0, 20.0), at)
    return float(np.max(np.abs(got - exact)))


@cache
def fat_in_one_point() -> float:
    """Fat whose flow rises with temperature (Lang et al.) after 20 min of even heating, °C, by another
    program's Runge-Kutta method of order 8."""
    law = load_tissue_set().tissue("fat").flow

    def rate(_: float, t: Floats) -> Floats:
        return np.asarray((HEATING - HEAT_CAPACITY_OF_BLOOD * law.at(t) * (t - 37.0)) / CAPACITY)

    run = solve_ivp(rate, (0.0, END_S), [37.0], method="DOP853", rtol=1e-10, atol=1e-10)
    return float(run.y[0, -1])


def error_in_time(steps_taken: int) -> float:
    """Error of the solver's equal time steps against `fat_in_one_point`, K."""
    law = load_tissue_set().tissue("fat").flow
    fat = HandLayer("fat", 0.03, 2, k=0.5, w=0.0, rho_c=CAPACITY, flow=law)
    model = body([fat], inner_m=0.01, arterial_c=37.0, exchange=0.0, air_c=20.0, heating=HEATING)
    u = np.full(model.capacity.shape, 37.0)
    dt = END_S / steps_taken
    for step in steps(model, u, 1.0, 0.0, END_S, tolerance_k=1e9, first_s=dt, longest_s=dt):
        u = step.temperature_c
    return abs(float(u[2, 0, 1]) - fat_in_one_point())
