"""Blood's part of the heat equation at every node, from laws of flow tabulated against temperature,
compiled."""

# mypy: disable-error-code="no-untyped-def, untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import prange

from evenfield.grid.kernels import fast_parallel, line_product

TABLE_C = np.arange(10.0, 70.0, 0.02)
"""Temperatures at which the laws are tabulated, °C; between them they are straight, beyond them constant."""


@fast_parallel
def net_power(
    conduction, temperature, above, metabolic, source, watts, volume, begin, table, arterial_c, blood_w_k, net
):
    """Fill `blood_w_k` and `net` (as in `HeatFlows`, still without the skin); returns what blood takes, W.

    `begin` (n_layers + 1,): first node of each layer and the last of all. `volume` (nk, nj, n_nodes +
    n_layers − 1): of layer l at node i it stands at i + l, since the node between two layers has a part of
    each. `table` (n_layers, TABLE_C.size): W/(m³ K). `conduction` in single precision, and so `above`, the
    temperature less the arterial one: what they leave out is below 1e-5 K (rounding of some kelvins).
    """
    nk, nj, ni = temperature.shape
    first, per_kelvin, last = TABLE_C[0], 1.0 / (TABLE_C[1] - TABLE_C[0]), TABLE_C.size - 1.001
    taken = np.zeros(nk)
    for k in prange(nk):
        conducted = np.empty(ni, dtype=above.dtype)
        for j in range(nj):
            t = temperature[k, j]
            w = blood_w_k[k, j]
            out = net[k, j]
            line_product(conduction, above, k, j, conducted, ni)
            for i in range(ni):
                w[i] = 0.0
            for layer in range(begin.size - 1):
                for i in range(begin[layer], begin[layer + 1] + 1):
                    place = min(max((t[i] - first) * per_kelvin, 0.0), last)
                    m = int(place)
                    low = table[layer, m]
                    w[i] += volume[k, j, i + layer] * (low + (place - m) * (table[layer, m + 1] - low))
            for i in range(ni):
                blood = w[i] * (t[i] - arterial_c)
                taken[k] += blood
                out[i] = metabolic[k, j, i] + watts * source[k, j, i] - conducted[i] - blood
    return taken.sum()
