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
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.case import Case, PowerKind
from evenfield.forecast.zones import Zone
from evenfield.heat.blood import TABLE_C
from evenfield.heat.power import PowerCurve
from evenfield.heat.stepping import GAMMA
from evenfield.tolerance.advance import run as advance
from evenfield.tolerance.projection import unflat
from evenfield.tolerance.regression import QuadraticFit
from evenfield.tolerance.spread import Spread

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Integers = NDArray[np.int64]
Progress = Callable[[str, float], None]
"""Called with the step's name and its share done, 0 to 1; may raise to cancel."""

STEP_S = 20.0
HOTTEST_C = 60.0
"""What is hotter is beyond the model (its blood flow, its shapes) and shown as this."""
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


def nominal_share(case: Case) -> float:
    """Share of the given power that the tissue takes up: the mid fraction, or 1 for absorbed power."""
    return case.session.absorbed_fraction.mid if case.session.power_kind is PowerKind.SET else 1.0
