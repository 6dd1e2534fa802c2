"""Time steps of many projected members, each with its own operators: a compiled kernel."""

# mypy: disable-error-code="no-untyped-def, untyped-decorator"
from __future__ import annotations

import numpy as np

from evenfield.grid.kernels import fast


@fast
def _add_product(columns, vector, out):
    """out += Σ_i vector[i] · columns[i]; column by column, so that sums need no other order to be quick."""
    for i in range(vector.size):
        v = vector[i]
        column = columns[i]
        for n in range(out.size):
            out[n] += v * column[n]


@fast
def _rate(
    a, constant, operator, points, shapes, start_c, arterial_c, in_blood, tables, of_point, low, per, t, out
):
    """Rate of the coordinates a (r,), by `projection`, in `out`; `t` (m,) is overwritten."""
    r, m = a.size, start_c.size
    last = tables.shape[1] - 2
    for n in range(r):
        out[n] = 0.0
    _add_product(operator, a, out)
    for n in range(r):
        out[n] = constant[n] - out[n]
    for p in range(m):
        t[p] = start_c[p]
    _add_product(shapes, a, t)
    for p in range(m):
        place = (t[p] - low) * per
        cell = min(max(int(place), 0), last)
        share = min(max(place - cell, 0.0), 1.0)
        row = of_point[p]
        value = tables[row, cell] + share * (tables[row, cell + 1] - tables[row, cell])
        if p < in_blood:
            value *= t[p] - arterial_c
        line = points[p]
        for i in range(r):
            out[i] -= value * line[i]


@fast
def run(
    a, constants, operators, points, sources, shapes, start_c, arterial_c, in_blood, tables, of_point, low,
    per, implicit, which, dt, watts, kept, out
):  # fmt: skip
    """ROS2 (`heat.stepping`) with each member's own Jacobian about its baseline.

    a (n, r) start; constants (n, r); operators (n, r, r), transposed; points (n, m, r); sources (n, r);
    shapes (r, m); dt (steps,) s; watts (n, steps) W; kept (steps,): where in `out` (n, kept, r) the state
    after each step goes, or -1; implicit (n, lengths, r, r): inverse of 1 + γ h J for each different length
    of step, transposed, `which` (steps,) of them.
    """
    members, r = a.shape
    rate, first, second, moved = np.empty(r), np.empty(r), np.empty(r), np.empty(r)
    constant, t = np.empty(r), np.empty(start_c.size)
    for n in range(members):
        now = a[n].copy()
        for s in range(dt.size):
            h = dt[s]
            for i in range(r):
                constant[i] = constants[n, i] + watts[n, s] * sources[n, i]
                first[i] = second[i] = 0.0
            _rate(
                now, constant, operators[n], points[n], shapes, start_c, arterial_c[n], in_blood, tables,
                of_point, low, per, t, rate,
            )  # fmt: skip
            _add_product(implicit[n, which[s]], rate, first)
            for i in range(r):
                moved[i] = now[i] + h * first[i]
            _rate(
                moved, constant, operators[n], points[n], shapes, start_c, arterial_c[n], in_blood, tables,
                of_point, low, per, t, rate,
            )  # fmt: skip
            for i in range(r):
                rate[i] -= 2.0 * first[i]
            _add_product(implicit[n, which[s]], rate, second)
            for i in range(r):
                now[i] += h * (1.5 * first[i] + 0.5 * second[i])
            if kept[s] >= 0:
                for i in range(r):
                    out[n, kept[s], i] = now[i]
