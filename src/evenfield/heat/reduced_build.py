"""Building the reduced heat model of a placement from one run of the full one and a few linear solves.

The full model runs once at nominal parameters, with power changes, a pause and cooling. To this come
responses to the field from single implicit steps of several lengths, with blood and skin exchange linearised
about cold, warm and hot states (a rational Krylov space, Ruhe, *Linear Algebra Appl.* 58:391, 1984): shapes
of heating on other time scales than those of the run, at a fortieth of its work each. Where parameters are to
be free, baselines and responses follow at the eight corners of an orthogonal array (two levels, five
factors). A further source adds a shorter run of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from evenfield.grid.assembly import CENTRE
from evenfield.grid.krylov import solve
from evenfield.grid.multigrid import Multigrid
from evenfield.heat.bioheat import Bioheat, LayerNodes
from evenfield.heat.reduced import PointTerms, ReducedHeat
from evenfield.heat.reduced_basis import basis
from evenfield.heat.reduced_terms import (
    LearnedTerm,
    blood_term,
    conducted,
    hottest_candidates,
    part,
    skin_term,
    states,
    watched,
)
from evenfield.heat.stepping import steady, steps

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Integers = NDArray[np.int64]

RUN = ((10.0, 1.0), (15.0, 1.5), (2.0, 0.0), (12.0, 0.8), (8.0, 0.0))
"""Minutes and factor on the power of the run's legs."""
SOURCE_RUN = ((10.0, 1.0), (12.0, 1.5), (2.0, 0.0))
"""The same of the run of each further source."""
CORNERS = tuple((a, b, c, a * b * c, a * b) for a in (-1, 1) for b in (-1, 1) for c in (-1, 1))
"""Orthogonal array: signs of fat flow, muscle flow, skin flow, skin exchange, arterial temperature."""
FLOW, EXCHANGE, ARTERIAL_K = 2.0, 1.4, 0.5
"""Corners: flow times or over 2, exchange times or over 1.4, arterial temperature plus or minus 0.5 K."""
SHORT_S, LONG_S = (20.0, 80.0), (300.0, 1200.0, 1e5)
"""Lengths of the implicit steps; at the corners only the long ones."""
RUN_TOLERANCE_K, SOURCE_TOLERANCE_K = 0.2, 0.4
"""Step tolerances of the runs: they only need to show the shapes."""
ERROR_K, MOST_SHAPES = 0.006, 50
TERM_ACCURACY, MOST_NODES = 3e-4, 30


@dataclass(frozen=True)
class _Training:
    """States above the baseline (n, n_nodes), K, and each one's arterial temperature (n,), °C."""

    rise: Singles
    arterial_c: Floats

    def warm(self, start_c: Floats) -> Floats:
        """Their mean, °C (nk, nj, n)."""
        return np.asarray(start_c + self.rise.mean(axis=0, dtype=np.float64).reshape(start_c.shape))


def build_reduced(
    model: Bioheat,
    absorbed_w: float,
    zones_mean: csr_matrix,
    zones_inside: Sequence[Integers],
    *,
    sources: Sequence[Floats] = (),
    others: Sequence[Bioheat] = (),
    varied: bool = True,
    most_shapes: int = MOST_SHAPES,
    baseline_c: Floats | None = None,
) -> ReducedHeat:
    """The reduced model of a placement, for absorbed powers up to about 1.5 times `absorbed_w`.

    `zones_mean` (n_zones, n_nodes), `zones_inside`: as in `forecast.zones.Zones`, the weights of each zone's
    mean and the flat indices of the nodes among which its hottest is sought. `sources`: further fields to mix
    with the model's own, each as `Bioheat.source`: W per watt absorbed at every node. `others`: problems on
    the same grid, with another source or exchange, whose temperatures the shapes must hold too. `varied`:
    parameters are to be free; otherwise the model holds at the nominal ones only. `most_shapes`: what the
    reduced model may cost. `baseline_c`: the baseline if already known.
    """
    start = steady(model) if baseline_c is None else baseline_c
    further = [*(replace(model, source=source) for source in sources), *others]
    training = _train(model, start, absorbed_w, further, varied)
    shapes = basis(training.rise, model.capacity.ravel(), watched(model, start), ERROR_K, most_shapes)
    shapes, rates, conduction = _turned(model, model.slope(model.blood_w_k(training.warm(start))), shapes)
    layers = [_blood(model, layer, start, shapes, training) for layer in model.layers]
    skin = _skin(model, start, shapes, training)
    terms = [*(layer.extra for layer in layers), skin.extra]
    top, top_begin = hottest_candidates(start, training.rise, zones_inside, hottest=3, spread=12)
    return ReducedHeat(
        layers=tuple(layer.name for layer in model.layers),
        arterial_c=model.arterial_c,
        rates=rates,
        operators=np.stack([*(layer.operator for layer in layers), skin.operator, shapes.T @ conduction]),
        constants=np.stack(
            [
                *(layer.constant for layer in layers),
                skin.constant,
                shapes.T @ model.metabolic.ravel() - conduction.T @ start.ravel(),
            ]
        ),
        per_kelvin=np.stack([layer.per_kelvin for layer in layers]),
        points=PointTerms(
            term=np.repeat(np.arange(len(terms)), [t.start_c.size for t in terms]),
            table=np.stack([t.table for t in terms]),
            start_c=np.concatenate([t.start_c for t in terms]),
            shapes=np.concatenate([t.shapes for t in terms]),
            spread=np.concatenate([t.spread for t in terms]),
        ),
        sources=np.stack([shapes.T @ s.ravel() for s in (model.source, *sources)]),
        zone_start_c=np.asarray(zones_mean @ start.ravel()),
        zone_shapes=np.asarray(zones_mean @ shapes),
        top_start_c=start.ravel()[top].astype(np.float32),
        top_shapes=shapes[top].astype(np.float32),
        top_begin=top_begin,
        start_c=start,
        shapes=shapes.astype(np.float32).reshape(*start.shape, -1),
    )


def _corner(model: Bioheat, signs: Sequence[int]) -> Bioheat:
    fat, muscle, skin, exchange, arterial = signs
    factor = {"fat": FLOW**fat, "muscle": FLOW**muscle, "skin": FLOW**skin}
    flow = {
        layer.name: factor.get(layer.name, 1.0) * model.flow_scale.get(layer.name, 1.0)
        for layer in model.layers
    }
    varied = model.varied(flow, model.exchange_scale * EXCHANGE**exchange)
    return replace(varied, arterial_c=model.arterial_c + ARTERIAL_K * arterial)


def _run(
    model: Bioheat, start_c: Floats, watts: float, legs: Sequence[tuple[float, float]], tolerance_k: float
) -> Singles:
    """A full-order run: its states above the baseline, a row each, K."""
    rise = []
    u = start_c
    for minutes, factor in legs:
        for step in steps(model, u, factor * watts, 0.0, 60.0 * minutes, tolerance_k=tolerance_k):
            u = step.temperature_c
            rise.append((u - start_c).astype(np.float32).ravel())
    return np.stack(rise)


def _responses(model: Bioheat, about_c: Floats, watts: float, lengths_s: Sequence[float]) -> Singles:
    """Rise after one implicit step of each length at constant power, blood and skin exchange linear as they
    are at `about_c`; a row each, K."""
    rows = []
    everywhere = np.ones(about_c.shape, dtype=bool)
    slope = model.slope(model.blood_w_k(about_c))
    heating = (watts * model.source).astype(np.float32)
    for seconds in lengths_s:
        stencil = model.conduction.astype(np.float32)
        stencil[:, :, CENTRE] += (slope + model.capacity / seconds).astype(np.float32)
        multigrid = Multigrid(stencil, everywhere, model.lines, reach=model.grid.cells_of("fat").start)
        rows.append(solve(stencil, heating, multigrid, tolerance=2e-3).x.ravel())
    return np.stack(rows)


def _train(
    model: Bioheat, start_c: Floats, watts: float, further: Sequence[Bioheat], varied: bool
) -> _Training:
    run = _run(model, start_c, watts, RUN, RUN_TOLERANCE_K)
    warmest = float(run.max())
    warm, hot = (start_c + r.reshape(start_c.shape) for r in (run.mean(axis=0), run.max(axis=0)))
    rise, arterial = [run], [np.full(len(run), model.arterial_c)]

    def respond(body: Bioheat, about_c: Floats, lengths_s: Sequence[float]) -> None:
        rows = _responses(body, about_c, watts, lengths_s)
        # no hotter than the run, so that they stay temperatures to learn the nonlinear terms from
        rise.append(rows * np.minimum(1.0, warmest / rows.max(axis=1, keepdims=True)))
        arterial.append(np.full(len(rows), model.arterial_c))

    for about in (start_c, warm, hot):
        respond(model, about, SHORT_S + LONG_S)
    for signs in CORNERS if varied else ():
        body = _corner(model, signs)
        rise.append((steady(body, start_c=start_c) - start_c).astype(np.float32).reshape(1, -1))
        arterial.append(np.full(1, body.arterial_c))
        respond(body, warm, LONG_S)
    for body in further:
        other = _run(body, start_c, watts, SOURCE_RUN, SOURCE_TOLERANCE_K)
        rise.append(other)
        arterial.append(np.full(len(other), body.arterial_c))
    return _Training(np.concatenate(rise), np.concatenate(arterial))


def _turned(model: Bioheat, slope: Floats, shapes: Floats) -> tuple[Floats, Floats, Floats]:
    """The shapes turned within their span so that conduction + slope is diagonal; that diagonal, 1/s; and
    conduction times each shape, W/K."""
    conduction = conducted(model, shapes)
    matrix = shapes.T @ (conduction + slope.reshape(-1, 1) * shapes)
    rates, turn = np.linalg.eigh(0.5 * (matrix + matrix.T))
    return shapes @ turn, np.asarray(rates), conduction @ turn


@dataclass(frozen=True)
class _Extra:
    """A nonlinear term's part of `PointTerms`."""

    table: Floats
    start_c: Floats
    shapes: Floats
    spread: Floats


@dataclass(frozen=True)
class _Term:
    """A layer's blood or the skin exchange: what `ReducedHeat` needs of it."""

    operator: Floats
    constant: Floats
    per_kelvin: Floats
    extra: _Extra


def _blood(model: Bioheat, layer: LayerNodes, start_c: Floats, shapes: Floats, training: _Training) -> _Term:
    volume = model.flow_scale.get(layer.name, 1.0) * layer.volume.ravel()
    start, own = part(start_c, shapes, layer.where)
    warm = states(start_c, training.rise, layer.where)
    learned = blood_term(
        model, layer, volume, warm, training.arterial_c, accuracy=TERM_ACCURACY, most=MOST_NODES
    )
    fixed = model.blood.heat_capacity_j_kgk * learned.reference * volume[:, None] * own
    return _Term(
        operator=own.T @ fixed,
        constant=-fixed.T @ (start - model.arterial_c),
        per_kelvin=fixed.sum(axis=0),
        extra=_extra(learned, start, own, volume[:, None] * own),
    )


def _skin(model: Bioheat, start_c: Floats, shapes: Floats, training: _Training) -> _Term:
    exchange, outermost = model.exchange, slice(-1, None)
    area = model.exchange_scale * model.area.ravel()
    start, own = part(start_c, shapes, outermost)
    dry = (area * exchange.dry.ravel())[:, None] * own
    wet = (area * exchange.evaporation.ravel())[:, None] * own
    warm = states(start_c, training.rise, outermost)
    learned = skin_term(model, area, warm, accuracy=TERM_ACCURACY, most=MOST_NODES)
    return _Term(
        operator=own.T @ dry,
        constant=-dry.T @ (start - exchange.air_c),
        per_kelvin=np.zeros(own.shape[1]),
        extra=_extra(learned, start, own, wet),
    )


def _extra(learned: LearnedTerm, start_c: Floats, own: Floats, weighted: Floats) -> _Extra:
    """The term's part from baseline (n,) and shapes (n, r) in its layer, and the shapes times what a value of
    the term does there."""
    nodes = learned.nodes
    return _Extra(learned.table, start_c[nodes], own[nodes], learned.spread.T @ weighted)
