"""Time steps of many projected members, each with its own operators: a compiled kernel."""

# mypy: disable-error-code="no-untyped-def, untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import njit

GAMMA = 1.0 - 1.0 / np.sqrt(2.0)


@njit(cache=True, fastmath=True, error_model="numpy")
def _rate(
    a, constant, operator, points, shapes, start_c, arterial_c, in_blood, tables, of_point, low, per, out
):
    """Rate of the coordinates a (r,), by `projection`, in `out`."""
    r, m = a.size, start_c.size
    last = tables.shape[1] - 2
    for n in range(r):
        total = constant[n]
        for i in range(r):
            total -= operator[n, i] * a[i]
        out[n] = total
    for p in range(m):
        t = start_c[p]
        for i in range(r):
            t += shapes[p, i] * a[i]
        place = (t - low) * per
        cell = min(max(int(place), 0), last)
        share = min(max(place - cell, 0.0), 1.0)
        row = of_point[p]
        value = tables[row, cell] + share * (tables[row, cell + 1] - tables[row, cell])
        if p < in_blood:
            value *= t - arterial_c
        for i in range(r):
            out[i] -= value * points[p, i]


@njit(cache=True, fastmath=True, error_model="numpy")
def run(
    a, constants, operators, points, sources, shapes, start_c, arterial_c, in_blood, tables, of_point, low,
    per, rates, dt, watts, kept, out
):  # fmt: skip
    """ROS2 with a diagonal Jacobian (`heat.stepping`, `heat.reduced`).

    a (n, r) start; constants (n, r); operators (n, r, r); points (n, m, r); sources (n, r); dt (steps,) s;
    watts (n, steps) W; kept (steps,): where in `out` (n, kept, r) the state after each step goes, or -1.
    """
    members, r = a.shape
    first, second, moved, constant = np.empty(r), np.empty(r), np.empty(r), np.empty(r)
    for n in range(members):
        now = a[n].copy()
        for s in range(dt.size):
            h = dt[s]
            for i in range(r):
                constant[i] = constants[n, i] + watts[n, s] * sources[n, i]
            _rate(
                now, constant, operators[n], points[n], shapes, start_c, arterial_c[n], in_blood, tables,
                of_point, low, per, first,
            )  # fmt: skip
            for i in range(r):
                first[i] /= 1.0 + GAMMA * h * rates[i]
                moved[i] = now[i] + h * first[i]
            _rate(
                moved, constant, operators[n], points[n], shapes, start_c, arterial_c[n], in_blood, tables,
                of_point, low, per, second,
            )  # fmt: skip
            for i in range(r):
                second[i] = (second[i] - 2.0 * first[i]) / (1.0 + GAMMA * h * rates[i])
                now[i] += h * (1.5 * first[i] + 0.5 * second[i])
            if kept[s] >= 0:
                for i in range(r):
                    out[n, kept[s], i] = now[i]
