"""Reduced heat model: a few shapes per placement in place of every node, for many assumed bodies at once.

T(t) = T₀ + V a(t), with T₀ the nominal baseline and shapes V orthonormal in the heat capacity C. The
bioheat equation projected on the shapes (Galerkin) reads
    da/dt = Vᵀ[−K T + q_m + P Σ w_c S_c − Σ_l s_l B_l(T) − s_h E(T)]
with blood B_l = c_b φ_l(T)(T − T_a) and skin exchange E as in the full model. Blood at a reference flow and
dry exchange are linear and exact; what flow adds beyond its reference, and evaporation, are evaluated at a
few nodes and spread from there (`heat.reduced_basis`), from tables of the laws. Factors on blood flow s_l and
skin exchange s_h, arterial temperature T_a and the mix of sources w_c belong to each member.

The shapes are turned so that conduction, blood and exchange are diagonal about a warm state. The two-stage
Rosenbrock method of `heat.stepping`, second order whatever the Jacobian's approximation, then solves no
system.

Built by `heat.reduced_build`; errors and validity: docs/heat.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenfield.heat.blood import TABLE_C
from evenfield.heat.stepping import GAMMA

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Integers = NDArray[np.int64]

STEP_S = 20.0
"""Longest time step, s (time error: docs/heat.md)."""


@dataclass(frozen=True)
class HeatParameters:
    """What differs between members.

    `flow` (members, n_layers): factor on each layer's blood flow, in the order of `ReducedHeat.layers`;
    `exchange` (members,): factor on the skin exchange; `arterial_c` (members,) °C; `source` (members,
    n_sources): the share of the absorbed power that heats as each source does.
    """

    flow: Floats
    exchange: Floats
    arterial_c: Floats
    source: Floats

    @property
    def members(self) -> int:
        """How many."""
        return self.exchange.size

    @property
    def scales(self) -> Floats:
        """Factors on the terms of the equation, shape (members, 2 + n_layers)."""
        one = np.ones((self.members, 1))
        return np.concatenate([self.flow, self.exchange[:, None], one], axis=1)


@dataclass(frozen=True)
class ReducedState:
    """`coordinates` (members, r): amounts of the shapes, √(J K); `time_s` since the start."""

    coordinates: Floats
    parameters: HeatParameters
    time_s: float


@dataclass(frozen=True)
class PointTerms:
    """Nonlinear terms from their values at m nodes, terms one after the other: each layer's blood beyond its
    reference flow (W/m³), then evaporation (kPa above the room's vapour).

    `term` (m,): which; `table` (n_layers + 1, TABLE_C.size): c_b (φ_l − reference) in W/(m³ K), and excess
    pressure in kPa; `start_c` (m,), `shapes` (m, r): temperature there; `spread` (m, r): effect of each value
    on the coordinates.
    """

    term: Integers
    table: Floats
    start_c: Floats
    shapes: Floats
    spread: Floats

    @property
    def in_blood(self) -> int:
        """How many of the nodes, the first ones, belong to blood."""
        return int(np.searchsorted(self.term, self.table.shape[0] - 1))

    def values(self, a: Floats, p: HeatParameters) -> Floats:
        """The terms at coordinates (members, r), without the members' factors, shape (members, m)."""
        above, value, step, place = self._looked_up(a, p)
        value += place * step
        value[:, : self.in_blood] *= above
        return value

    def slopes(self, a: Floats, p: HeatParameters) -> Floats:
        """Their derivatives by the temperature there, per kelvin, shape (members, m)."""
        above, value, step, place = self._looked_up(a, p)
        slope = step / (TABLE_C[1] - TABLE_C[0])
        slope[:, : self.in_blood] *= above
        slope[:, : self.in_blood] += (value + place * step)[:, : self.in_blood]
        return np.asarray(slope)

    def _looked_up(self, a: Floats, p: HeatParameters) -> tuple[Floats, Floats, Floats, Floats]:
        """Kelvins above arterial at the nodes in blood; the table's value below each temperature, its step to
        the next and the place between them, 0 to 1."""
        t = a @ self.shapes.T
        t += self.start_c
        above = t[:, : self.in_blood] - p.arterial_c[:, None]
        t -= TABLE_C[0]
        t *= 1.0 / (TABLE_C[1] - TABLE_C[0])
        np.clip(t, 0.0, TABLE_C.size - 1.001, out=t)
        index = t.astype(np.int64)
        t -= index
        index += TABLE_C.size * self.term
        flat = self.table.ravel()
        value = flat[index]
        index += 1
        return above, value, flat[index] - value, t


@dataclass(frozen=True)
class ReducedHeat:
    """One placement's reduced heat model of r shapes. Arrays only, so that it can be stored as it is.

    Of the linear terms, each layer's blood at its reference flow, dry exchange, and conduction with
    metabolism: `operators` (n_layers + 2, r, r), `constants` (n_layers + 2, r) at the nominal baseline;
    `per_kelvin` (n_layers, r): blood's constants per kelvin of arterial temperature. `points`: the nonlinear
    terms. `sources` (n_sources, r) per watt absorbed. `rates` (r,) 1/s: decay of each shape about a warm
    state.

    Outputs: `zone_start_c`, `zone_shapes` (n_zones[, r]): zone means; `top_start_c`, `top_shapes`
    (n_candidates[, r]): the nodes among which each zone's hottest is sought, zone after zone, from
    `top_begin` (n_zones,) on; `start_c` (nk, nj, n), `shapes` (nk, nj, n, r): all nodes.
    """

    layers: tuple[str, ...]
    arterial_c: float
    rates: Floats
    operators: Floats
    constants: Floats
    per_kelvin: Floats
    points: PointTerms
    sources: Floats
    zone_start_c: Floats
    zone_shapes: Floats
    top_start_c: Singles
    top_shapes: Singles
    top_begin: Integers
    start_c: Floats
    shapes: Singles

    def parameters(
        self,
        members: int = 1,
        *,
        flow: Mapping[str, ArrayLike] | None = None,
        exchange: ArrayLike = 1.0,
        arterial_c: ArrayLike | None = None,
        source: ArrayLike | None = None,
    ) -> HeatParameters:
        """Parameters of so many members; what is not given is nominal (all power by the first source).

        Each is a number or (members,); `flow` by layer name; `source` (n_sources,) or (members, n_sources).
        Raises ValueError for an unknown layer or a shape that does not fit.
        """
        scale = np.ones((members, len(self.layers)))
        for name, value in (flow or {}).items():
            if name not in self.layers:
                raise ValueError(f"flow is given for {name!r}; the layers are {', '.join(self.layers)}")
            scale[:, self.layers.index(name)] = value
        arterial = self.arterial_c if arterial_c is None else arterial_c
        mix = np.eye(len(self.sources))[0] if source is None else source

        def each(value: ArrayLike, *more: int) -> Floats:
            return np.broadcast_to(np.asarray(value, dtype=np.float64), (members, *more))

        return HeatParameters(scale, each(exchange), each(arterial), each(mix, len(self.sources)))

    def start(self, parameters: HeatParameters) -> ReducedState:
        """Every member at its own baseline, the steady temperature without power, at time 0."""
        return ReducedState(self.baseline(parameters), parameters, 0.0)

    def baseline(self, parameters: HeatParameters) -> Floats:
        """Coordinates (members, r) of the steady temperature without power, by Newton's method. Raises
        RuntimeError if it is not found."""
        constant, operator = self._linear(parameters)
        factor = parameters.scales[:, self.points.term]
        a = np.zeros((parameters.members, self.rates.size))
        for _ in range(20):
            value = factor * self.points.values(a, parameters)
            rate = constant - np.matmul(operator, a[:, :, None])[:, :, 0] - value @ self.points.spread
            slope = factor * self.points.slopes(a, parameters)
            jacobian = operator + np.matmul(self.points.spread.T * slope[:, None, :], self.points.shapes)
            change = np.linalg.solve(jacobian, rate[:, :, None])[:, :, 0]
            a = a + change
            if float(np.max(np.abs(change @ self.zone_shapes.T))) < 1e-4:
                return a
        raise RuntimeError("the reduced model's baseline was not found; its parameters may be extreme")

    def advance(
        self, state: ReducedState, watts: ArrayLike, seconds: float, *, step_s: float = STEP_S
    ) -> ReducedState:
        """The state after `seconds` at constant absorbed power, W: a number or (members,)."""
        if seconds <= 0:
            return state
        parameters = state.parameters
        constant, operator = self._linear(parameters)
        factor = parameters.scales[:, self.points.term]
        power = np.asarray(watts, dtype=np.float64).reshape(-1, 1)
        constant = constant + power * (parameters.source @ self.sources)

        def rate(a: Floats) -> Floats:
            value = factor * self.points.values(a, parameters)
            return np.asarray(
                constant - np.matmul(operator, a[:, :, None])[:, :, 0] - value @ self.points.spread
            )

        count = max(1, int(np.ceil(seconds / step_s - 1e-9)))
        dt = seconds / count
        damping = 1.0 / (1.0 + GAMMA * dt * self.rates)
        a = state.coordinates
        for _ in range(count):
            first = damping * rate(a)
            second = damping * (rate(a + dt * first) - 2.0 * first)
            a = a + dt * (1.5 * first + 0.5 * second)
        return ReducedState(a, parameters, state.time_s + seconds)

    def zone_means(self, state: ReducedState) -> Floats:
        """Mean temperature of each zone, °C, shape (members, n_zones)."""
        return self.zone_start_c + state.coordinates @ self.zone_shapes.T

    def hottest(self, state: ReducedState) -> Singles:
        """Hottest temperature of each zone, °C, shape (members, n_zones), among its candidate nodes."""
        candidates = state.coordinates.astype(np.float32) @ self.top_shapes.T + self.top_start_c
        return np.maximum.reduceat(candidates, self.top_begin, axis=1)

    def at(self, state: ReducedState, nodes: Integers) -> Floats:
        """Temperature at some nodes (flat indices of the node array), °C, shape (members, n_nodes)."""
        shapes = self.shapes.reshape(-1, self.rates.size)[nodes]
        return self.start_c.ravel()[nodes] + state.coordinates @ shapes.T

    def field(self, state: ReducedState, member: int = 0) -> Floats:
        """Temperature of one member at every node, °C, shape (nk, nj, n)."""
        return np.asarray(self.start_c + self.shapes @ state.coordinates[member].astype(np.float32))

    def _linear(self, p: HeatParameters) -> tuple[Floats, Floats]:
        """Constant (members, r) and operator (members, r, r) of the linear terms, the factors in them."""
        scales = p.scales
        warmer = (p.arterial_c - self.arterial_c)[:, None]
        constant = scales @ self.constants + warmer * (p.flow @ self.per_kelvin)
        return constant, np.tensordot(scales, self.operators, axes=1)
