"""Time stepping of the bioheat equation: the two-stage Rosenbrock method ROS2 with its own error estimate.

With J an approximation of the Jacobian and γ = 1 − 1/√2 (L-stable):
    (I − γ Δt J) k₁ = F(u),  (I − γ Δt J) k₂ = F(u + Δt k₁) − 2 k₁,  u⁺ = u + Δt (3 k₁ + k₂)/2.
Second order whatever J is, so that blood flow enters it as of the last refactoring and the full nonlinear law
enters F (Verwer, Spee, Blom and Hundsdorfer, *SIAM J. Sci. Comput.* 20:1456, 1999). The first-order result
u + Δt k₁ gives the error estimate. Stage equations are solved by conjugate gradients with line relaxation.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.grid.assembly import CENTRE
from evenfield.grid.krylov import solve
from evenfield.grid.lines import Lines
from evenfield.grid.multigrid import Multigrid
from evenfield.heat.bioheat import Bioheat

Floats = NDArray[np.float64]
GAMMA = 1.0 - 1.0 / np.sqrt(2.0)
GROW = 4.0
"""Most that a step grows over the one before."""
TOLERANCE_K = 0.1
"""Default bound of one step's first-order error estimate."""


@dataclass(frozen=True)
class Step:
    """State at the end of a step: time (s), temperature (°C, node array), its rate (K/s), and what blood and
    skin take from it (W)."""

    time_s: float
    temperature_c: Floats
    rate: Floats
    blood_w: float
    skin_w: float


class _Implicit:
    """C/(γ Δt) + K + D with its relaxation, in single precision; one matrix for all lengths of step."""

    def __init__(self, model: Bioheat, tolerance_k: float) -> None:
        self.dt = 0.0
        self._model = model
        self._stencil = model.conduction_single.copy()
        self._relax: Lines | None = None
        # residual that leaves an error of about 0.04 mK in Δt·k over all nodes: at a hot spot of small cells
        # it is hundreds of times as much, near the axis of a trunk a thousand times
        left_k = min(4e-5, 4e-4 * tolerance_k)
        self._left = left_k * float(np.linalg.norm(model.capacity))

    def set(self, dt: float, blood_w_k: Floats) -> None:
        """For steps of length `dt` and blood flow as it is now."""
        self.dt = dt
        diagonal = self._model.capacity / (GAMMA * dt) + self._model.slope(blood_w_k)
        diagonal += self._model.conduction[:, :, CENTRE]
        self._stencil[:, :, CENTRE] = diagonal
        if self._relax is None:
            self._relax = Lines(self._stencil, self._model.thin_in_angle)
        else:
            self._relax.refactor()

    def solve(self, power: Floats, guess: Floats) -> Floats:
        """The k of (C + γ Δt (K + D)) k = power, K/s."""
        assert self._relax is not None
        scale = 1.0 / (GAMMA * self.dt)
        solution = solve(
            self._stencil,
            (scale * power).astype(np.float32),
            self._relax,
            tolerance=1.0,
            reference=self._left / self.dt * scale,
            start=guess.astype(np.float32),
        )
        return np.asarray(solution.x, dtype=np.float64)


def steps(
    model: Bioheat,
    temperature_c: Floats,
    absorbed_w: float,
    start_s: float,
    end_s: float,
    *,
    tolerance_k: float = TOLERANCE_K,
    first_s: float = 4.0,
    longest_s: float = 150.0,
) -> Iterator[Step]:
    """Advance at constant power; yields the start and the end of every step taken.

    `tolerance_k` bounds the first-order error estimate of one step anywhere; what it means for the result is
    measured in the tests (about 0.02 K at the default).
    """
    u = temperature_c
    flows = model.flows(u, absorbed_w)
    rate = flows.net / model.capacity
    yield Step(start_s, u, rate, flows.blood_w, flows.skin_w)
    time, dt = start_s, min(first_s, end_s - start_s)
    implicit = _Implicit(model, tolerance_k)
    # the last step's k₁, its length and k₁ + k₂ = (1 − 2γ) Δt ü: what the next stages will be like
    k1, before, bend = np.zeros_like(u), 0.0, np.zeros_like(u)
    while time < end_s - 1e-6:
        left = end_s - time
        dt = left if left <= 1.2 * dt else min(dt, left / 2 if left < 2 * dt else dt)
        if not 0.999 < dt / max(implicit.dt, 1e-9) < 1.001:
            implicit.set(dt, flows.blood_w_k)
        ahead = (before + GAMMA * (dt - before)) / ((1 - 2 * GAMMA) * before) if before else 0.0
        first = implicit.solve(flows.net, k1 + ahead * bend)
        power = model.flows(u + dt * first, absorbed_w).net - 2.0 * model.capacity * first
        second = implicit.solve(power, (dt / before if before else 0.0) * bend - first)
        error = float(np.max(np.abs(0.5 * dt * (first + second))))
        factor = 0.9 * np.sqrt(tolerance_k / max(error, 1e-9))
        if error > 1.5 * tolerance_k and dt > 1.0:
            dt *= max(0.3, float(factor))
            continue
        u = u + dt * (1.5 * first + 0.5 * second)
        k1, before, bend = first, dt, first + second
        time += dt
        flows = model.flows(u, absorbed_w)
        rate = flows.net / model.capacity
        yield Step(time, u, rate, flows.blood_w, flows.skin_w)
        if factor > 1.4:
            dt = min(longest_s, dt * min(GROW, float(factor)))
        elif factor < 0.9:
            dt *= float(factor)


def between(before: Step, after: Step, time_s: float) -> Floats:
    """Temperature at a time within a step: cubic Hermite interpolation of states and rates."""
    h = after.time_s - before.time_s
    s = (time_s - before.time_s) / h
    a = (1 + 2 * s) * (1 - s) ** 2
    b = s * (1 - s) ** 2 * h
    c = s * s * (3 - 2 * s)
    d = s * s * (s - 1) * h
    out: Any = a * before.temperature_c + b * before.rate + c * after.temperature_c + d * after.rate
    return np.asarray(out)


def steady(
    model: Bioheat, absorbed_w: float = 0.0, *, start_c: Floats | None = None, tolerance_k: float = 2e-3
) -> Floats:
    """Steady temperature at constant power (the baseline at power 0), °C.

    Newton's iteration with blood flow and skin exchange linearised about the start, one multigrid for all of
    it. Each round leaves a tenth of the last change or less, so it stops when no node moves by ten times
    `tolerance_k`. Raises RuntimeError if it does not settle.
    """
    u = np.full(model.capacity.shape, model.arterial_c - 1.0) if start_c is None else start_c
    everywhere = np.ones(u.shape, dtype=bool)
    diagonal = model.slope(model.blood_w_k(u))
    stencil = model.conduction_single.copy()
    stencil[:, :, CENTRE] += diagonal.astype(np.float32)
    multigrid = Multigrid(stencil, everywhere, model.lines, reach=model.grid.cells_of("fat").start)
    for _ in range(40):
        defect = model.flows(u, absorbed_w).net.astype(np.float32)
        change = solve(stencil, defect, multigrid, tolerance=0.3).x
        u = u + change
        if float(np.max(np.abs(change))) < 10.0 * tolerance_k:
            return u
    raise RuntimeError("the steady temperature was not found; the tissue set's blood flow may be extreme")
