"""Computing a `tolerance.emulator.Emulator`: members for the shapes, members for the design, and the fit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from evenfield.case import Case
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import evenness_of
from evenfield.forecast.zones import make_zones
from evenfield.grid.fit import fit
from evenfield.grid.layout import Layout
from evenfield.heat.reduced_terms import hottest_candidates
from evenfield.heat.stepping import steady, steps
from evenfield.tolerance.emulator import STEP_S, TISSUES, Emulator, Progress, nominal_share, time_steps
from evenfield.tolerance.member import Complexes, one_row, possible, solved_member
from evenfield.tolerance.parallel import Runner, one_thread
from evenfield.tolerance.projection import (
    Frame,
    flat,
    make_frame,
    project,
    unflat,
)
from evenfield.tolerance.regression import quadratic_fit
from evenfield.tolerance.spread import Law, Spread

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

TRAINING, DESIGN = 10, 96
"""How many members are run in full to learn the shapes, and how many fields are solved."""
WIDER_TRAINING, WIDER_DESIGN = 1.3, 1.15
"""Scores of these members are those of the spread times this, so that members lie within, not beyond."""
CHUNK = 4
"""Members per task of the design; fixed, whoever computes."""
LEGS = ((8.0, 1.0), (12.0, 1.3), (2.0, 0.0), (12.0, 0.8), (6.0, 0.0))
"""Minutes and factor on the power of a training run's legs."""
TRAINING_TOLERANCE_K = 0.3


@dataclass(frozen=True)
class _Family:
    """What every task needs."""

    case: Case
    spread: Spread
    layout: Layout
    potential: Complexes
    start_c: Floats
    watts: float


def _train(family: _Family, row: Floats) -> tuple[Singles, float]:
    """States of one member's run, less the nominal baseline, and its arterial temperature."""
    values = one_row(family.spread, row)
    model = solved_member(family.case, family.layout, values, family.potential).heat
    u = steady(model, start_c=family.start_c)
    rise = [(u - family.start_c).astype(np.float32).ravel()]
    nominal = nominal_share(family.case)
    watts = family.watts * values.get("absorbed_fraction", nominal) / nominal
    for minutes, factor in LEGS:
        for step in steps(model, u, factor * watts, 0.0, 60.0 * minutes, tolerance_k=TRAINING_TOLERANCE_K):
            u = step.temperature_c
            rise.append((u - family.start_c).astype(np.float32).ravel())
    return np.stack(rise), model.arterial_c


def _design(family: _Family, frame: Frame, rows: Floats) -> tuple[Floats, Floats]:
    """Projected arrays and extras of some members, a row each."""
    arrays, extras = [], []
    for row in rows:
        member = solved_member(family.case, family.layout, one_row(family.spread, row), family.potential)
        arrays.append(flat(project(frame, member.heat)))
        field = member.field
        extras.append(
            [
                evenness_of(field).ratio,
                field.admittance_s.real,
                field.admittance_s.imag,
                *(field.share[layer] for layer in frame.layers),
            ]
        )
    return np.array(arrays), np.array(extras)


def highest_absorbed_w(case: Case) -> float:
    """Highest absorbed power of the case at the mid fraction, W."""
    return max(case.session.absorbed()[1].watts)


def build_emulator(
    case: Case,
    spread: Spread,
    work: Runner,
    *,
    seed: int = 0,
    design: int = DESIGN,
    training: int = TRAINING,
    reach: dict[str, float] | None = None,
    layout: Layout | None = None,
    progress: Progress = lambda step, share: None,
) -> Emulator:
    """Compute the design and fit. The nominal point is met exactly but for the projection.

    `reach`: how far each placement unknown is to hold on either side beyond the spread, in its own unit (for
    a search). `layout`: lines of the nominal grid; by default those nested in the forecast's own.
    """
    progress("nominal", 0.0)
    lines = layout or chosen_layout(case.region, case.placed).coarser()
    train_seed, design_seed = np.random.SeedSequence(seed).spawn(2)
    with one_thread():
        nominal = solved_member(case, lines, {})
        start_c = steady(nominal.heat)
    watts = max(highest_absorbed_w(case), 1.0)
    family = _Family(case, spread, lines, nominal.field.potential, start_c, watts)
    live = bool(spread.unknowns)

    rows = np.zeros((1, len(spread.unknowns)))
    if live:
        wide = _wider(spread, training, train_seed, WIDER_TRAINING, reach)
        rows = np.concatenate([rows, possible(case, spread, wide)])
    rise, arterial = [], []
    for n, (states, arterial_c) in enumerate(work.map(partial(_train, family), list(rows))):
        progress("shapes", (n + 1) / len(rows))
        rise.append(states)
        arterial.append(np.full(len(states), arterial_c))
    states = np.concatenate(rise)
    with one_thread():
        frame = make_frame(nominal.heat, start_c, states, np.concatenate(arterial))

    wide = _wider(spread, design if live else 0, design_seed, WIDER_DESIGN, reach)
    wide = possible(case, spread, wide)
    chunks = [np.zeros((1, wide.shape[1])), *(wide[n : n + CHUNK] for n in range(0, len(wide), CHUNK))]
    arrays, extras = [], []
    for n, (one, extra) in enumerate(work.map(partial(_design, family, frame), chunks)):
        progress("fields", (n + 1) / len(chunks))
        arrays.append(one)
        extras.append(extra)
    outputs, others = np.concatenate(arrays), np.concatenate(extras)
    with one_thread():
        return _fitted(family, nominal.heat.arterial_c, frame, states, wide, outputs, others)


def _wider(
    spread: Spread, count: int, seed: np.random.SeedSequence, factor: float, reach: dict[str, float] | None
) -> Floats:
    """Design rows: scores of the spread times `factor`, and placement moved anywhere within `reach`."""
    first, second = seed.spawn(2)
    scores = spread.scores(count, first)
    for n, unknown in enumerate(spread.unknowns):
        if unknown.law is not Law.EITHER:
            scores[:, n] *= factor
    moved = [key for key in spread.keys if key in (reach or {})]
    shares = np.random.default_rng(second).random((count, len(moved)))
    for key, share in zip(moved, shares.T, strict=True):
        unknown = spread.unknowns[spread.column(key)]
        scores[:, spread.column(key)] += (2.0 * share - 1.0) * (reach or {})[key] / unknown.width[0]
    return scores


def _fitted(
    family: _Family,
    arterial_c: float,
    frame: Frame,
    states: Singles,
    scores: Floats,
    outputs: Floats,
    others: Floats,
) -> Emulator:
    case, spread = family.case, family.spread
    grid = fit(family.layout, case.region, case.placed)
    zones = make_zones(grid, case.placed, case.measurements.kind.trunk)
    number = np.arange(family.start_c.size).reshape(family.start_c.shape)
    whole = []
    for tissue in TISSUES:
        cells = grid.cells_of(tissue)
        whole.append(number[:, :, cells.start : cells.stop + 1].ravel())
    top, top_begin = hottest_candidates(family.start_c, states, [*zones.inside, *whole], hottest=3, spread=8)
    start, own = frame.at_points()
    like = _shapes_of_arrays(frame)
    nothing = quadratic_fit(np.zeros((0, int(spread.of_field.sum()))), outputs[:0], outputs[0])
    blank = Emulator(
        case=case,
        spread=spread,
        zones=zones.zones,
        layers=frame.layers,
        arterial_c=arterial_c,
        fit=nothing,
        extras=nothing,
        like=like,
        point_start_c=start,
        point_shapes=own,
        term_of_point=frame.term_of_point,
        in_blood=frame.in_blood,
        table=frame.table,
        zone_start_c=np.asarray(zones.mean @ family.start_c.ravel()),
        zone_shapes=np.asarray(zones.mean @ frame.shapes),
        top_start_c=family.start_c.ravel()[top],
        top_shapes=frame.shapes[top],
        top_begin=top_begin,
        watts=family.watts,
    )
    guide = _guide(blank, scores, outputs)
    x = scores[:, spread.of_field]
    return replace(
        blank,
        fit=quadratic_fit(x, outputs[1:], outputs[0], guide),
        extras=quadratic_fit(x, others[1:], others[0]),
    )


def _shapes_of_arrays(frame: Frame) -> dict[str, Floats]:
    """Arrays of the shapes that `project` gives, in its order."""
    layers, r = len(frame.layers), frame.rank
    return {
        "operators": np.empty((layers + 2, r, r)),
        "constants": np.empty((layers + 2, r)),
        "per_kelvin": np.empty((layers, r)),
        "source": np.empty(r),
        "points": np.empty((frame.term_of_point.size, r)),
    }


def _guide(emulator: Emulator, scores: Floats, outputs: Floats) -> Floats:
    """What the fit is to be good at: zone means and hottest points after 10 and 20 minutes with nominal
    blood flow, by each design member's own arrays, less the nominal ones; (n_design, n)."""
    if not len(scores):
        return np.zeros((0, 1))
    time_s = np.array([0.0, 600.0, 1200.0])
    dt, _, kept = time_steps((), time_s, STEP_S)
    watts = np.full((len(outputs), dt.size), emulator.watts)
    still = np.zeros((len(outputs), scores.shape[1]))
    visit = emulator.integrate(unflat(outputs, emulator.like), still, watts, dt, kept, time_s)
    seen = [visit.zone_mean_c[:, 1:], visit.zone_hottest_c[:, 1:], visit.hottest_c[:, 1:, :2]]
    every = np.concatenate([s.reshape(len(outputs), -1) for s in seen], axis=1)
    return np.asarray(every[1:] - every[0])
