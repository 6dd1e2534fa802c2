"""One body and placement as few numbers: field and heat projected on shapes common to a whole family.

All members of a family share the lines of one layout, so node (k, j, i) means the same place of the body in
each; temperatures are T = T₀ + V a with the nominal baseline T₀ and shapes V fixed on these nodes. Pennes'
equation is projected as in `heat.reduced`, but with the member's own capacity, conduction, volumes, exchange
and field:
    M da/dt = Vᵀ[−K T + q_m + P S − Σ_l s_l B_l(T) − s_h E(T)],  M = Vᵀ C V.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.grid import kernels
from evenfield.heat.bioheat import Bioheat, LayerNodes
from evenfield.heat.reduced_basis import basis, interpolation
from evenfield.heat.skin import saturation_kpa

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Integers = NDArray[np.int64]

TABLE_C = np.arange(10.0, 70.0, 0.02)
"""Temperatures at which the laws are tabulated, °C; between them they are straight, beyond them constant."""
ERROR_K, MOST_SHAPES = 0.02, 45
TERM_ACCURACY, MOST_NODES = 1e-3, 16


@dataclass(frozen=True)
class Term:
    """A nonlinear term: a layer's blood beyond its `reference` flow (kg/(s m³)), or evaporation. `where`: its
    radial nodes; `nodes` among them (flattened); `lift` (n, m) spreads the values there to all of them;
    `table`: the law at `TABLE_C`."""

    where: slice
    reference: float
    nodes: Integers
    lift: Floats
    table: Floats


@dataclass(frozen=True)
class Frame:
    """What a family has in common. `start_c` (nk, nj, n): nominal baseline; `shapes` (n_nodes, r); `layers`
    and their blood terms, evaporation last in `terms`."""

    start_c: Floats
    shapes: Floats
    layers: tuple[str, ...]
    terms: tuple[Term, ...]

    @property
    def rank(self) -> int:
        return int(self.shapes.shape[1])

    @property
    def term_of_point(self) -> Integers:
        """Which term each interpolation node belongs to, (m,)."""
        return np.repeat(np.arange(len(self.terms)), [t.nodes.size for t in self.terms])

    @property
    def in_blood(self) -> int:
        """How many of the nodes, the first ones, belong to blood."""
        return sum(t.nodes.size for t in self.terms[:-1])

    @property
    def table(self) -> Floats:
        return np.stack([t.table for t in self.terms])

    def at_points(self) -> tuple[Floats, Floats]:
        """Baseline (m,) and shapes (m, r) at the interpolation nodes."""
        parts = [(part(self.start_c, self.shapes, t.where), t.nodes) for t in self.terms]
        return (
            np.concatenate([start[nodes] for (start, _), nodes in parts]),
            np.concatenate([own[nodes] for (_, own), nodes in parts]),
        )


def part(start_c: Floats, shapes: Floats, where: slice) -> tuple[Floats, Floats]:
    """Baseline (n,) and shapes (n, r) at some of the radial nodes, flattened."""
    r = shapes.shape[1]
    return start_c[..., where].ravel(), shapes.reshape(*start_c.shape, r)[:, :, where].reshape(-1, r)


def make_frame(
    model: Bioheat, start_c: Floats, rise: Singles, arterial_c: Floats, error_k: float = ERROR_K
) -> Frame:
    """Shapes and interpolation nodes from training states of the family.

    `model`: the nominal heat problem, `start_c` its baseline; `rise` (n, n_nodes): training states less
    `start_c`, K; `arterial_c` (n,) of each.
    """
    watched = np.zeros(start_c.shape, dtype=bool)
    watched[:, :, model.grid.cells_of("fat").start :] = True
    shapes = basis(rise, model.capacity.ravel(), watched.ravel(), error_k, MOST_SHAPES)
    terms = [_blood_term(model, layer, start_c, rise, arterial_c) for layer in model.layers]
    return Frame(
        start_c=start_c,
        shapes=shapes,
        layers=tuple(layer.name for layer in model.layers),
        terms=(*terms, _skin_term(model, start_c, rise)),
    )


def _states(start_c: Floats, rise: Singles, where: slice) -> Singles:
    own = rise.reshape(-1, *start_c.shape)[..., where] + start_c[..., where].astype(np.float32)
    return np.asarray(own.reshape(len(rise), -1))


def _blood_term(
    model: Bioheat, layer: LayerNodes, start_c: Floats, rise: Singles, arterial_c: Floats
) -> Term:
    law, heat_capacity = layer.tissue.flow, model.blood.heat_capacity_j_kgk
    volume = layer.volume.ravel()
    temperature = _states(start_c, rise, layer.where)
    flow = law.at(temperature)
    reference = float(flow.mean(axis=0, dtype=np.float64) @ volume / volume.sum())
    table = heat_capacity * (law.at(TABLE_C) - reference)
    # a constant law leaves only rounding
    table[np.abs(table) < 1e-6 * heat_capacity * reference] = 0.0
    term = (flow - reference) * (temperature - arterial_c[:, None]) if table.any() else 0.0 * flow
    nodes, lift = interpolation(term.astype(np.float32), volume, TERM_ACCURACY, MOST_NODES)
    return Term(layer.where, reference, nodes, lift, table)


def _skin_term(model: Bioheat, start_c: Floats, rise: Singles) -> Term:
    where = slice(-1, None)
    table = np.maximum(saturation_kpa(TABLE_C) - model.exchange.vapour_kpa, 0.0)
    excess = np.interp(_states(start_c, rise, where), TABLE_C, table).astype(np.float32)
    nodes, lift = interpolation(excess, model.area.ravel(), TERM_ACCURACY, MOST_NODES)
    return Term(where, 0.0, nodes, lift, table)


def _conducted(model: Bioheat, shapes: Floats) -> Floats:
    """Conduction times each shape, W/K."""
    out = np.empty_like(shapes)
    one = np.empty(model.capacity.shape)
    for n, shape in enumerate(shapes.T):
        kernels.apply(model.conduction, np.ascontiguousarray(shape).reshape(one.shape), one)
        out[:, n] = one.ravel()
    return out


def project(frame: Frame, model: Bioheat) -> dict[str, Floats]:
    """A member's projected heat problem, all in units of the coordinates' rate.

    Of the linear terms, each layer's blood at its reference flow, dry exchange, then conduction with
    metabolism: `operators` (n_layers + 2, r, r), `constants` (n_layers + 2, r), at the family's arterial
    temperature 0 °C; `per_kelvin` (n_layers, r) per kelvin of arterial temperature. `points` (m, r): effect
    of each nonlinear value. `source` (r,) per watt absorbed.
    """
    V, T0 = frame.shapes, frame.start_c
    conducted = _conducted(model, V)
    operators, constants, per_kelvin, points = [], [], [], []
    for layer, term in zip(model.layers, frame.terms, strict=False):
        start, own = part(T0, V, layer.where)
        weighted = layer.volume.ravel()[:, None] * own
        fixed = model.blood.heat_capacity_j_kgk * term.reference * weighted
        operators.append(own.T @ fixed)
        constants.append(-fixed.T @ start)
        per_kelvin.append(fixed.sum(axis=0))
        points.append(term.lift.T @ weighted)
    start, own = part(T0, V, slice(-1, None))
    area = model.area.ravel()[:, None]
    dry = area * model.exchange.dry.reshape(-1, 1) * own
    operators += [own.T @ dry, V.T @ conducted]
    constants += [
        -dry.T @ (start - model.exchange.air_c),
        V.T @ model.metabolic.ravel() - conducted.T @ T0.ravel(),
    ]
    points.append(frame.terms[-1].lift.T @ (area * model.exchange.evaporation.reshape(-1, 1) * own))
    mass = V.T @ (model.capacity.reshape(-1, 1) * V)
    sides = [*operators, *(np.stack([*constants, *per_kelvin, V.T @ model.source.ravel()])[:, :, None])]
    solved = np.linalg.solve(mass, np.concatenate(sides, axis=1))
    r, count = frame.rank, len(operators)
    vectors = solved[:, count * r :].T
    return {
        "operators": solved[:, : count * r].reshape(r, count, r).transpose(1, 0, 2).copy(),
        "constants": vectors[:count].copy(),
        "per_kelvin": vectors[count : count + len(per_kelvin)].copy(),
        "source": vectors[-1].copy(),
        "points": np.linalg.solve(mass, np.concatenate(points).T).T.copy(),
    }


def flat(arrays: Mapping[str, Floats]) -> Floats:
    """Named arrays one after the other in one row."""
    return np.concatenate([np.ravel(a) for a in arrays.values()])


def unflat(rows: Floats, like: Mapping[str, Floats]) -> dict[str, Floats]:
    """The arrays of rows (n, size) as `flat` made them, each with n in front."""
    out, begin = {}, 0
    for name, array in like.items():
        out[name] = rows[:, begin : begin + array.size].reshape(len(rows), *array.shape)
        begin += array.size
    return out


def hottest_candidates(
    start_c: Floats, rise: Singles, groups: Sequence[Integers], most: int = 3
) -> tuple[Integers, Integers]:
    """Nodes among which each group's hottest is sought, group after group, and where each group's begin: the
    few hottest of every training state, and some spread over the group."""
    nodes, counts = [], []
    base = start_c.ravel()
    for group in groups:
        temperature = rise[:, group] + base[group].astype(np.float32)
        hottest = np.argpartition(temperature, -most, axis=1)[:, -most:]
        spread = np.linspace(0, group.size - 1, 8).astype(np.int64)
        chosen = np.unique(np.concatenate([hottest.ravel(), spread]))
        nodes.append(group[chosen])
        counts.append(chosen.size)
    return np.concatenate(nodes), np.cumsum([0, *counts[:-1]])
