"""One body and placement as few numbers: field and heat projected on shapes common to a whole family.

All members of a family share the lines of one layout, so node (k, j, i) means the same place of the body in
each; temperatures are T = T₀ + V a with the nominal baseline T₀ and shapes V fixed on these nodes. Pennes'
equation is projected as in `heat.reduced`, but with the member's own capacity, conduction, volumes, exchange
and field:
    M da/dt = Vᵀ[−K T + q_m + P S − Σ_l s_l B_l(T) − s_h E(T)],  M = Vᵀ C V.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.heat.bioheat import Bioheat
from evenfield.heat.reduced_basis import basis
from evenfield.heat.reduced_terms import (
    LearnedTerm,
    blood_term,
    conducted,
    part,
    skin_term,
    states,
    watched,
)

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Integers = NDArray[np.int64]

OUTERMOST = slice(-1, None)
ERROR_K, MOST_SHAPES = 0.02, 45
TERM_ACCURACY, MOST_NODES = 1e-3, 16


@dataclass(frozen=True)
class Term:
    """A nonlinear term, a layer's blood or evaporation: its radial nodes, and what is learned of it there."""

    where: slice
    learned: LearnedTerm


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
        return np.repeat(np.arange(len(self.terms)), [t.learned.nodes.size for t in self.terms])

    @property
    def in_blood(self) -> int:
        """How many of the nodes, the first ones, belong to blood."""
        return sum(t.learned.nodes.size for t in self.terms[:-1])

    @property
    def table(self) -> Floats:
        return np.stack([t.learned.table for t in self.terms])

    def at_points(self) -> tuple[Floats, Floats]:
        """Baseline (m,) and shapes (m, r) at the interpolation nodes."""
        parts = [(part(self.start_c, self.shapes, t.where), t.learned.nodes) for t in self.terms]
        return (
            np.concatenate([start[nodes] for (start, _), nodes in parts]),
            np.concatenate([own[nodes] for (_, own), nodes in parts]),
        )


def make_frame(
    model: Bioheat, start_c: Floats, rise: Singles, arterial_c: Floats, error_k: float = ERROR_K
) -> Frame:
    """Shapes and interpolation nodes from training states of the family.

    `model`: the nominal heat problem, `start_c` its baseline; `rise` (n, n_nodes): training states less
    `start_c`, K; `arterial_c` (n,) of each.
    """
    shapes = basis(rise, model.capacity.ravel(), watched(model, start_c), error_k, MOST_SHAPES)
    terms = [
        Term(
            layer.where,
            blood_term(
                model,
                layer,
                layer.volume.ravel(),
                states(start_c, rise, layer.where),
                arterial_c,
                accuracy=TERM_ACCURACY,
                most=MOST_NODES,
            ),
        )
        for layer in model.layers
    ]
    warm_skin = states(start_c, rise, OUTERMOST)
    skin = skin_term(model, model.area.ravel(), warm_skin, accuracy=TERM_ACCURACY, most=MOST_NODES)
    return Frame(
        start_c=start_c,
        shapes=shapes,
        layers=tuple(layer.name for layer in model.layers),
        terms=(*terms, Term(OUTERMOST, skin)),
    )


def project(frame: Frame, model: Bioheat) -> dict[str, Floats]:
    """A member's projected heat problem, all in units of the coordinates' rate.

    Of the linear terms, each layer's blood at its reference flow, dry exchange, then conduction with
    metabolism: `operators` (n_layers + 2, r, r), `constants` (n_layers + 2, r), at the family's arterial
    temperature 0 °C; `per_kelvin` (n_layers, r) per kelvin of arterial temperature. `points` (m, r): effect
    of each nonlinear value. `source` (r,) per watt absorbed.
    """
    V, T0 = frame.shapes, frame.start_c
    conduction = conducted(model, V)
    operators, constants, per_kelvin, points = [], [], [], []
    for layer, term in zip(model.layers, frame.terms, strict=False):
        start, own = part(T0, V, layer.where)
        weighted = layer.volume.ravel()[:, None] * own
        fixed = model.blood.heat_capacity_j_kgk * term.learned.reference * weighted
        operators.append(own.T @ fixed)
        constants.append(-fixed.T @ start)
        per_kelvin.append(fixed.sum(axis=0))
        points.append(term.learned.spread.T @ weighted)
    start, own = part(T0, V, OUTERMOST)
    area = model.area.ravel()[:, None]
    dry = area * model.exchange.dry.reshape(-1, 1) * own
    operators += [own.T @ dry, V.T @ conduction]
    constants += [
        -dry.T @ (start - model.exchange.air_c),
        V.T @ model.metabolic.ravel() - conduction.T @ T0.ravel(),
    ]
    points.append(frame.terms[-1].learned.spread.T @ (area * model.exchange.evaporation.reshape(-1, 1) * own))
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
