"""What every projection of the heat problem on few shapes learns from its training states: the laws that are
not linear as tables with their interpolation nodes, conduction of each shape, and where to seek the hottest.

Nodes lie as in the grid, (nk, nj, n); states and shapes have them flattened, (n_nodes,). `where`: some of the
radial nodes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.grid import kernels
from evenfield.heat.bioheat import Bioheat, LayerNodes
from evenfield.heat.blood import TABLE_C
from evenfield.heat.reduced_basis import interpolation
from evenfield.heat.skin import saturation_kpa

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class LearnedTerm:
    """A law in a table, and the few nodes that stand for all in its layer.

    `reference`: a layer's flow that is left to the linear part, kg/(s m³), 0 for evaporation; `table`
    (TABLE_C.size,): heat capacity of blood times the flow beyond it, W/(m³ K), or the vapour pressure beyond
    the room's, kPa; `nodes` (m,) among those of the layer; `spread` (n, m): from the values there to all.
    """

    reference: float
    table: Floats
    nodes: Integers
    spread: Floats


def watched(model: Bioheat, start_c: Floats) -> NDArray[np.bool_]:
    """Nodes whose temperature the shapes must hold, (n_nodes,): those of skin and fat."""
    wanted = np.zeros(start_c.shape, dtype=bool)
    wanted[:, :, model.grid.cells_of("fat").start :] = True
    return wanted.ravel()


def part(start_c: Floats, shapes: Floats, where: slice) -> tuple[Floats, Floats]:
    """Baseline (n,) and shapes (n, r) at some of the radial nodes, flattened."""
    r = shapes.shape[1]
    return start_c[..., where].ravel(), shapes.reshape(*start_c.shape, r)[:, :, where].reshape(-1, r)


def states(start_c: Floats, rise: Singles, where: slice) -> Singles:
    """Training temperatures at some of the radial nodes, °C (n_states, n), from `rise` (n_states, n_nodes)
    above the baseline."""
    own = rise.reshape(-1, *start_c.shape)[..., where] + start_c[..., where].astype(np.float32)
    return np.asarray(own.reshape(len(rise), -1))


def blood_term(
    model: Bioheat,
    layer: LayerNodes,
    volume: Floats,
    temperature_c: Singles,
    arterial_c: Floats,
    *,
    accuracy: float,
    most: int,
) -> LearnedTerm:
    """Blood of a layer. `volume` (n,): that of each node, times its scale of flow, m³; `temperature_c`
    (n_states, n) with `arterial_c` (n_states,); `accuracy`, `most`: as in `interpolation`."""
    law, heat_capacity = layer.tissue.flow, model.blood.heat_capacity_j_kgk
    flow = law.at(temperature_c)
    reference = float(flow.mean(axis=0, dtype=np.float64) @ volume / volume.sum())
    table = heat_capacity * (law.at(TABLE_C) - reference)
    # a constant law leaves only rounding
    table[np.abs(table) < 1e-6 * heat_capacity * reference] = 0.0
    term = (flow - reference) * (temperature_c - arterial_c[:, None]) if table.any() else 0.0 * flow
    return LearnedTerm(reference, table, *interpolation(term.astype(np.float32), volume, accuracy, most))


def skin_term(
    model: Bioheat, area: Floats, temperature_c: Singles, *, accuracy: float, most: int
) -> LearnedTerm:
    """Evaporation from the outermost nodes, each with its `area` (n,), m², times its scale of exchange."""
    table = np.maximum(saturation_kpa(TABLE_C) - model.exchange.vapour_kpa, 0.0)
    excess = np.interp(temperature_c, TABLE_C, table).astype(np.float32)
    return LearnedTerm(0.0, table, *interpolation(excess, area, accuracy, most))


def conducted(model: Bioheat, shapes: Floats) -> Floats:
    """Conduction times each shape (n_nodes, r), W/K."""
    out = np.empty_like(shapes)
    one = np.empty(model.capacity.shape)
    for n, shape in enumerate(shapes.T):
        kernels.apply(model.conduction, np.ascontiguousarray(shape).reshape(one.shape), one)
        out[:, n] = one.ravel()
    return out


def hottest_candidates(
    start_c: Floats, rise: Singles, groups: Sequence[Integers], *, hottest: int, spread: int
) -> tuple[Integers, Integers]:
    """Nodes among which each group's hottest is sought, group after group, and where each group's begin: the
    `hottest` ones of every training state, and `spread` ones over the group."""
    nodes, counts = [], []
    base = start_c.ravel()
    for group in groups:
        temperature = rise[:, group] + base[group].astype(np.float32)
        warmest = np.argpartition(temperature, -hottest, axis=1)[:, -hottest:]
        evenly = np.linspace(0, group.size - 1, spread).astype(np.int64)
        chosen = np.unique(np.concatenate([warmest.ravel(), evenly]))
        nodes.append(group[chosen])
        counts.append(chosen.size)
    return np.concatenate(nodes), np.cumsum([0, *counts[:-1]])
