"""Pennes' bioheat equation on the fitted grid, discretised in space: capacity, conduction, blood, skin,
sources.

ρc ∂T/∂t = ∇·(k∇T) − W(T)(T − T_a) + q_metabolic + q(x)·P(t)   (Pennes, *J. Appl. Physiol.* 1:93, 1948)

with flow that depends on temperature and, at the skin, the exchange of `heat.skin`. Trilinear elements for
conduction; capacity, blood and sources lumped to nodes (each cell gives an eighth to each corner), which
keeps the heat balance exact. The ends of the domain and the axis are adiabatic.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from evenfield.grid.assembly import weighted
from evenfield.grid.fit import Grid
from evenfield.heat.blood import TABLE_C, net_power
from evenfield.heat.skin import SkinExchange
from evenfield.tissue import Blood, Tissue

Floats = NDArray[np.float64]


def spread_to_nodes(cells: Floats) -> Floats:
    """Sum of an eighth of each cell's amount to its corners: (nk − 1, nj, n) to (nk, nj, n + 1)."""
    nk, nj, n = cells.shape
    share = 0.125 * cells
    share = share + np.roll(share, 1, axis=1)
    out = np.zeros((nk + 1, nj, n + 1))
    out[:-1, :, :-1] += share
    out[:-1, :, 1:] += share
    out[1:, :, :-1] += share
    out[1:, :, 1:] += share
    return out


def skin_facets(grid: Grid) -> Floats:
    """Area of every facet of the skin surface, shape (nk − 1, nj), m²."""
    p = np.moveaxis(grid.nodes[:, :, :, grid.skin_node], 0, -1)
    a, b = p[:-1], np.roll(p, -1, axis=1)[:-1]
    c, d = p[1:], np.roll(p, -1, axis=1)[1:]
    return np.asarray(0.5 * np.linalg.norm(np.cross(d - a, c - b), axis=-1))


def facets_to_nodes(facets: Floats) -> Floats:
    """Sum of a quarter of each facet's amount to its corners: (nk − 1, nj) to (nk, nj)."""
    share = 0.25 * (facets + np.roll(facets, 1, axis=1))
    out = np.zeros((facets.shape[0] + 1, facets.shape[1]))
    out[:-1] += share
    out[1:] += share
    return out


@dataclass(frozen=True)
class LayerNodes:
    """One tissue layer among the nodes: radial nodes `where`, and the volume of this tissue at each, m³."""

    name: str
    where: slice
    volume: Floats
    tissue: Tissue


@dataclass(frozen=True)
class HeatFlows:
    """`net`: right-hand side of capacity · dT/dt, W per node; `blood_w_k`: heat carried off by blood per
    kelvin above arterial, W/K per node; `blood_w`, `skin_w`: all that blood and skin take, W."""

    net: Floats
    blood_w_k: Floats
    blood_w: float
    skin_w: float


@dataclass(frozen=True)
class Bioheat:
    """The heat problem of one grid. All node arrays have shape (nk, nj, n) with n = skin_node + 1.

    `capacity` J/K, `conduction` stencils W/K, `metabolic` W, `source` W per watt absorbed, `area` m² (nk,
    nj). `flow_scale` multiplies each layer's blood flow, `exchange_scale` the skin exchange (1 unless
    varied).
    """

    grid: Grid
    capacity: Floats
    conduction: Floats
    layers: tuple[LayerNodes, ...]
    blood: Blood
    arterial_c: float
    metabolic: Floats
    source: Floats
    exchange: SkinExchange
    area: Floats
    flow_scale: Mapping[str, float]
    exchange_scale: float = 1.0

    @cached_property
    def conduction_single(self) -> NDArray[np.float32]:
        """The conduction stencils in single precision, for implicit solves."""
        return self.conduction.astype(np.float32)

    @property
    def lines(self) -> tuple[Floats, Floats]:
        """The grid's level and angle lines, for the solver's interpolation."""
        return self.grid.layout.level, self.grid.layout.angle

    @property
    def thin_in_angle(self) -> int:
        """How many of the innermost radial nodes have neighbours in angle nearer than about 2 mm."""
        radius = np.hypot(self.grid.nodes[0, 0, 0], self.grid.nodes[1, 0, 0])
        return int(np.searchsorted(radius, 2e-3 * self.grid.shape[1] / (2 * np.pi))) + 1

    def blood_w_k(self, temperature_c: Floats) -> Floats:
        """Heat carried off by blood per kelvin above arterial at each node, W/K."""
        out = np.zeros_like(temperature_c)
        for layer in self.layers:
            per_volume = layer.tissue.flow.w_per_m3k(temperature_c[:, :, layer.where], self.blood)
            out[:, :, layer.where] += self.flow_scale.get(layer.name, 1.0) * per_volume * layer.volume
        return out

    def skin_loss(self, temperature_c: Floats) -> Floats:
        """Heat lost at each skin node, W, shape (nk, nj)."""
        return self.exchange_scale * self.area * self.exchange.flux(temperature_c[:, :, -1])

    @cached_property
    def _blood(self) -> tuple[Floats, NDArray[np.int64], Floats]:
        """Volumes, first nodes and tables as `heat.blood.net_power` wants them."""
        scaled = [self.flow_scale.get(layer.name, 1.0) * layer.volume for layer in self.layers]
        begin = np.array([layer.where.start for layer in self.layers] + [self.layers[-1].where.stop - 1])
        table = np.stack([layer.tissue.flow.w_per_m3k(TABLE_C, self.blood) for layer in self.layers])
        return np.concatenate(scaled, axis=2), begin, table

    def flows(self, temperature_c: Floats, absorbed_w: float) -> HeatFlows:
        """Where heat goes at a temperature and an absorbed power."""
        net, blood_w_k = np.empty_like(temperature_c), np.empty_like(temperature_c)
        blood_w = net_power(
            self.conduction_single,
            temperature_c,
            (temperature_c - self.arterial_c).astype(np.float32),
            self.metabolic,
            self.source,
            absorbed_w,
            *self._blood,
            self.arterial_c,
            blood_w_k,
            net,
        )
        skin = self.skin_loss(temperature_c)
        net[:, :, -1] -= skin
        return HeatFlows(net, blood_w_k, float(blood_w), float(skin.sum()))

    def slope(self, blood_w_k: Floats) -> Floats:
        """Diagonal of the Jacobian's local part (blood and skin exchange), W/K per node."""
        out = blood_w_k.copy()
        out[:, :, -1] += self.exchange_scale * self.area * self.exchange.slope()
        return out

    def varied(self, flow_scale: Mapping[str, float], exchange_scale: float) -> Bioheat:
        """The same body with other blood flow and skin exchange."""
        return replace(self, flow_scale=flow_scale, exchange_scale=exchange_scale)

    def with_source(self, heating: Floats) -> Bioheat:
        """The same body under another field; `heating` as in `Field.heating`."""
        return replace(self, source=spread_to_nodes(heating * self.grid.volume[:, :, : self.grid.skin_node]))


def make_bioheat(
    grid: Grid,
    tissues: Mapping[str, Tissue],
    blood: Blood,
    exchange: SkinExchange,
    heating: Floats,
    arterial_c: float = 37.0,
) -> Bioheat:
    """Discretise. `tissues`: by layer name; `heating`: W/m³ per watt absorbed, shape (nk − 1, nj,
    skin_node)."""
    n = grid.skin_node
    names = list(dict.fromkeys(grid.layer_of_cell[:n]))
    volume = grid.volume[:, :, :n]
    layers = []
    capacity = np.zeros((*grid.shape[:2], n + 1))
    metabolic = np.zeros_like(capacity)
    for name in names:
        cells = grid.cells_of(name)
        where = slice(cells.start, cells.stop + 1)
        at_nodes = spread_to_nodes(volume[:, :, cells])
        tissue = tissues[name]
        layers.append(LayerNodes(name, where, at_nodes, tissue))
        capacity[:, :, where] += tissue.density_kg_m3 * tissue.heat_capacity_j_kgk * at_nodes
        metabolic[:, :, where] += tissue.metabolic_w_m3 * at_nodes
    conductivity = np.array([tissues[name].conductivity_w_mk for name in grid.layer_of_cell[:n]])
    return Bioheat(
        grid=grid,
        capacity=capacity,
        conduction=weighted(grid.couplings, conductivity),
        layers=tuple(layers),
        blood=blood,
        arterial_c=arterial_c,
        metabolic=metabolic,
        source=spread_to_nodes(heating * volume),
        exchange=exchange,
        area=facets_to_nodes(skin_facets(grid)),
        flow_scale={},
    )
