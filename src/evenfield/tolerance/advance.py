"""Time steps of many projected members, each with its own operators: a compiled kernel."""

# mypy: disable-error-code="no-untyped-def, untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import njit

GAMMA = 1.0 - 1.0 / np.sqrt(2.0)
"""As in `heat.stepping`."""


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
def _times(matrix, vector, out):
    """out = matrix · vector."""
    for i in range(out.size):
        total = 0.0
        for j in range(vector.size):
            total += matrix[i, j] * vector[j]
        out[i] = total


@njit(cache=True, fastmath=True, error_model="numpy")
def run(
    a, constants, operators, points, sources, shapes, start_c, arterial_c, in_blood, tables, of_point, low,
    per, implicit, which, dt, watts, kept, out
):  # fmt: skip
    """ROS2 (`heat.stepping`) with each member's own Jacobian about its baseline.

    a (n, r) start; constants (n, r); operators (n, r, r); points (n, m, r); sources (n, r); dt (steps,) s;
    watts (n, steps) W; kept (steps,): where in `out` (n, kept, r) the state after each step goes, or -1;
    implicit (n, lengths, r, r): inverse of 1 + γ h J for each different length of step, `which` (steps,) of
    them.
    """
    members, r = a.shape
    rate, first, second, moved = np.empty(r), np.empty(r), np.empty(r), np.empty(r)
    constant = np.empty(r)
    for n in range(members):
        now = a[n].copy()
        for s in range(dt.size):
            h = dt[s]
            for i in range(r):
                constant[i] = constants[n, i] + watts[n, s] * sources[n, i]
            _rate(
                now, constant, operators[n], points[n], shapes, start_c, arterial_c[n], in_blood, tables,
                of_point, low, per, rate,
            )  # fmt: skip
            _times(implicit[n, which[s]], rate, first)
            for i in range(r):
                moved[i] = now[i] + h * first[i]
            _rate(
                moved, constant, operators[n], points[n], shapes, start_c, arterial_c[n], in_blood, tables,
                of_point, low, per, rate,
            )  # fmt: skip
            for i in range(r):
                rate[i] -= 2.0 * first[i]
            _times(implicit[n, which[s]], rate, second)
            for i in range(r):
                now[i] += h * (1.5 * first[i] + 0.5 * second[i])
            if kept[s] >= 0:
                for i in range(r):
                    out[n, kept[s], i] = now[i]
