"""A visit for any body, placement and tissue values near the planned ones, in milliseconds.

Some tens of members are computed with their own field on their own grid (`tolerance.member`), projected on
common shapes (`tolerance.projection`), and the projected numbers become quadratic functions of the unknowns
(`tolerance.regression`). Blood flow, skin exchange, arterial temperature and power need no such function:
they enter the projected equation as they are. What this costs in accuracy is measured on members computed in
full (`tolerance.check`).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from evenfield.case import Case, PowerKind
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import evenness_of
from evenfield.forecast.zones import Zone, make_zones
from evenfield.grid.fit import fit
from evenfield.grid.layout import Layout
from evenfield.heat.power import PowerCurve
from evenfield.heat.stepping import steady, steps
from evenfield.tolerance.advance import GAMMA
from evenfield.tolerance.advance import run as advance
from evenfield.tolerance.member import Complexes, one_row, possible, solved_member
from evenfield.tolerance.parallel import Runner, one_thread
from evenfield.tolerance.projection import (
    TABLE_C,
    Frame,
    flat,
    hottest_candidates,
    make_frame,
    project,
    unflat,
)
from evenfield.tolerance.regression import QuadraticFit, quadratic_fit
from evenfield.tolerance.spread import Law, Spread

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Integers = NDArray[np.int64]
Progress = Callable[[str, float], None]
"""Called with the step's name and its share done, 0 to 1; may raise to cancel."""

TRAINING, DESIGN = 10, 96
"""How many members are run in full to learn the shapes, and how many fields are solved."""
WIDER_TRAINING, WIDER_DESIGN = 1.3, 1.15
"""Scores of these members are those of the spread times this, so that members lie within, not beyond."""
CHUNK = 4
"""Members per task of the design; fixed, whoever computes."""
STEP_S = 20.0
HOTTEST_C = 60.0
"""What is hotter is beyond the model (its blood flow, its shapes) and shown as this."""
LEGS = ((8.0, 1.0), (12.0, 1.3), (2.0, 0.0), (12.0, 0.8), (6.0, 0.0))
"""Minutes and factor on the power of a training run's legs."""
TRAINING_TOLERANCE_K = 0.3
TISSUES = ("skin", "fat", "muscle")


@dataclass(frozen=True)
class Visit:
    """Members' temperatures through a visit, °C: `zone_mean_c`, `zone_hottest_c` (members, nt, n_zones);
    `hottest_c` (members, nt, 3) of skin, fat, muscle; at `time_s` (nt,)."""

    time_s: Floats
    zone_mean_c: Floats
    zone_hottest_c: Floats
    hottest_c: Floats


@dataclass(frozen=True)
class Emulator:
    """See the module. `extras` fits, in this order, evenness, the conductance and susceptance between panels
    (S), and the shares of absorbed power by layer."""

    case: Case
    spread: Spread
    zones: tuple[Zone, ...]
    layers: tuple[str, ...]
    arterial_c: float
    fit: QuadraticFit
    extras: QuadraticFit
    like: dict[str, Floats]
    point_start_c: Floats
    point_shapes: Floats
    term_of_point: Integers
    in_blood: int
    table: Floats
    zone_start_c: Floats
    zone_shapes: Floats
    top_start_c: Floats
    top_shapes: Floats
    top_begin: Integers
    watts: float

    def fraction(self, scores: Floats) -> Floats:
        """Share of the set power each member absorbs, (members,); 1 where absorbed power is given."""
        if "absorbed_fraction" not in self.spread.keys:
            return np.full(len(scores), nominal_share(self.case))
        return self.spread.values(scores)["absorbed_fraction"]

    def run(self, scores: Floats, curve: PowerCurve, time_s: Floats, *, step_s: float = STEP_S) -> Visit:
        """Members (rows of scores) through a visit at this set (or absorbed) power."""
        dt, at, kept = time_steps(curve.breaks(), time_s, step_s)
        watts = np.array([curve.at(t) for t in at])
        return self.follow(scores, self.fraction(scores)[:, None] * watts, dt, kept, time_s)

    def follow(self, scores: Floats, watts: Floats, dt: Floats, kept: Integers, time_s: Floats) -> Visit:
        """Members at their own absorbed power (members, steps), W."""
        arrays = unflat(self.fit.at(self._of_field(scores)), self.like)
        return self.integrate(arrays, scores, watts, dt, kept, time_s)

    def integrate(
        self,
        arrays: dict[str, Floats],
        scores: Floats,
        watts: Floats,
        dt: Floats,
        kept: Integers,
        time_s: Floats,
    ) -> Visit:
        """The same from projected arrays, a row each (the emulated ones, or a member's own)."""
        if watts.shape != (len(scores), dt.size):
            raise ValueError(f"watts has shape {watts.shape}: {(len(scores), dt.size)} is needed")
        scale, arterial = self._heat_factors(scores)
        operators = np.einsum("nt,ntij->nij", scale, arrays["operators"])
        constants = np.einsum("nt,nti->ni", scale, arrays["constants"])
        blood = len(self.layers)
        constants += arterial[:, None] * np.einsum("nt,nti->ni", scale[:, :blood], arrays["per_kelvin"])
        points = scale[:, self.term_of_point, None] * arrays["points"]
        a, jacobian = self._baseline(operators, constants, points, arterial)
        lengths, which = np.unique(np.round(dt, 9), return_inverse=True)
        implicit = np.linalg.inv(
            np.eye(a.shape[1]) + GAMMA * lengths[None, :, None, None] * jacobian[:, None].swapaxes(2, 3)
        )
        out = np.empty((len(scores), time_s.size, a.shape[1]))
        out[:, 0] = a
        advance(
            a,
            constants,
            np.ascontiguousarray(operators.swapaxes(1, 2)),
            points,
            np.ascontiguousarray(arrays["source"]),
            np.ascontiguousarray(self.point_shapes.T),
            self.point_start_c,
            arterial,
            self.in_blood,
            self.table,
            self.term_of_point,
            TABLE_C[0],
            1.0 / (TABLE_C[1] - TABLE_C[0]),
            implicit,
            which,
            dt,
            np.ascontiguousarray(watts),
            kept,
            out,
        )
        top = np.maximum.reduceat(out @ self.top_shapes.T + self.top_start_c, self.top_begin, axis=2)
        means = self.zone_start_c + out @ self.zone_shapes.T
        zones = len(self.zones)
        return Visit(time_s, _held(means), _held(top[:, :, :zones]), _held(top[:, :, zones:]))

    def extra(self, scores: Floats) -> Floats:
        """Evenness, conductance, susceptance and shares of members, (members, 3 + n_layers)."""
        return self.extras.at(self._of_field(scores))

    def _of_field(self, scores: Floats) -> Floats:
        return scores[:, self.spread.of_field]

    def _heat_factors(self, scores: Floats) -> tuple[Floats, Floats]:
        """Factors on the terms (members, n_layers + 2) and arterial temperature (members,)."""
        values = self.spread.values(scores)
        one = np.ones(len(scores))
        flow = [values.get(f"flow.{layer}", one) for layer in self.layers]
        scale = np.stack([*flow, values.get("exchange", one), one], axis=1)
        return scale, self.arterial_c + values.get("core", 0.0 * one)

    def _baseline(
        self, operators: Floats, constants: Floats, points: Floats, arterial: Floats
    ) -> tuple[Floats, Floats]:
        """Coordinates of the steady temperature without power, by Newton's method, and the Jacobian there."""
        a = np.zeros_like(constants)
        step = TABLE_C[1] - TABLE_C[0]
        for _ in range(20):
            t = self.point_start_c + a @ self.point_shapes.T
            place = np.clip((t - TABLE_C[0]) / step, 0.0, TABLE_C.size - 1.001)
            cell = place.astype(np.int64)
            low, high = self.table[self.term_of_point, cell], self.table[self.term_of_point, cell + 1]
            value, slope = low + (place - cell) * (high - low), (high - low) / step
            above = t[:, : self.in_blood] - arterial[:, None]
            slope[:, : self.in_blood] = slope[:, : self.in_blood] * above + value[:, : self.in_blood]
            value[:, : self.in_blood] *= above
            rate = constants - np.einsum("nij,nj->ni", operators, a) - np.einsum("nm,nmi->ni", value, points)
            sloped = points.transpose(0, 2, 1) * slope[:, None, :]
            jacobian = operators + np.matmul(sloped, self.point_shapes)
            change = np.linalg.solve(jacobian, rate[:, :, None])[:, :, 0]
            a = a + change
            if float(np.max(np.abs(change @ self.zone_shapes.T))) < 1e-4:
                return a, jacobian
        raise RuntimeError("an ensemble member's baseline was not found; its blood flow may be extreme")


def _held(temperature_c: Floats) -> Floats:
    """Temperatures up to `HOTTEST_C`; what is not a number grew beyond all bounds."""
    return np.fmin(np.where(np.isfinite(temperature_c), temperature_c, HOTTEST_C), HOTTEST_C)


def time_steps(breaks: Sequence[float], time_s: Floats, step_s: float) -> tuple[Floats, Floats, Integers]:
    """Steps of at most `step_s` that end at every output time and change of power: their lengths and begins
    (steps,), and which output follows each (-1: none). The first output is the start."""
    end = float(time_s[-1])
    marks = sorted({0.0, *(float(t) for t in time_s), *(float(b) for b in breaks if b < end)})
    dt: list[float] = []
    begin: list[float] = []
    kept: list[int] = []
    number = {float(t): n for n, t in enumerate(time_s)}
    for a, b in itertools.pairwise(marks):
        count = max(1, int(np.ceil((b - a) / step_s - 1e-9)))
        dt += [(b - a) / count] * count
        begin += [a + n * (b - a) / count for n in range(count)]
        kept += [-1] * (count - 1) + [number.get(b, -1)]
    return np.array(dt), np.array(begin), np.array(kept, dtype=np.int64)


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


def nominal_share(case: Case) -> float:
    """Share of the given power that the tissue takes up: the mid fraction, or 1 for absorbed power."""
    return case.session.absorbed_fraction.mid if case.session.power_kind is PowerKind.SET else 1.0


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
    top, top_begin = hottest_candidates(family.start_c, states, [*zones.inside, *whole])
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
