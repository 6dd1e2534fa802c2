"""Heat problems with an answer on paper: concentric layers, as a cylinder or, at a great radius, as a slab.

The full-order model gets them as a grid like any other. A face is held at a temperature by a thin layer with
a blood flow so great that it cannot differ from the arterial temperature, or by a great skin exchange.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.grid.assembly import couplings
from evenfield.grid.fit import Grid
from evenfield.grid.layout import Layout
from evenfield.heat.bioheat import Bioheat, make_bioheat
from evenfield.heat.skin import SkinExchange
from evenfield.tissue import Blood, ConstantFlow, Flow, Label, Tissue, Value, load_tissue_set

Floats = NDArray[np.float64]
AROUND, ALONG = 16, 5
FAR = 100.0
"""Radius (m) at which a layer is a slab."""
HEAT_CAPACITY_OF_BLOOD = 4000.0
BLOOD = Blood(
    Value(1000.0, "kg/m3", "chosen", Label.A), Value(HEAT_CAPACITY_OF_BLOOD, "J/(kg K)", "chosen", Label.A)
)


@dataclass(frozen=True)
class HandLayer:
    """One tissue layer: thickness m, cells, k W/(m K), W W/(m³ K), metabolic heat q W/m³, ρc J/(m³ K).

    `flow` is a law in the temperature in place of the constant W.
    """

    name: str
    thickness: float
    cells: int
    k: float
    w: float
    q: float = 0.0
    rho_c: float = 4e6
    flow: Flow | None = None

    def tissue(self) -> Tissue:
        """The layer as a tissue of density 1000 kg/m³."""

        def value(number: float) -> Value:
            return Value(number, "SI", "chosen for the check", Label.A)

        return Tissue(
            self.name,
            load_tissue_set().tissue("muscle").dielectric,
            self.flow or ConstantFlow(value(self.w / HEAT_CAPACITY_OF_BLOOD)),
            {
                "conductivity_w_mk": value(self.k),
                "heat_capacity_j_kgk": value(self.rho_c / 1000.0),
                "density_kg_m3": value(1000.0),
                "metabolic_w_kg": value(self.q / 1000.0),
            },
        )


def body(
    layers: Sequence[HandLayer],
    *,
    inner_m: float,
    arterial_c: float,
    exchange: float,
    air_c: float,
    heating: float = 0.0,
) -> Bioheat:
    """Layers from radius `inner_m` outwards; outermost surface loses `exchange` W/(m² K) to air at `air_c`.
    `heating`: W/m³ per watt absorbed, everywhere.

    The sixteen sides are flat: radii are those of their middles, so that a great radius gives a slab exactly.
    """
    radius = [inner_m]
    for layer in layers:
        radius.extend(radius[-1] + layer.thickness * np.arange(1, layer.cells + 1) / layer.cells)
    r = np.array(radius)
    angle = np.arange(AROUND) * 2.0 * np.pi / AROUND
    level = np.linspace(0.0, 0.1, ALONG)
    shape = (ALONG, AROUND, r.size)
    corner = r / np.cos(np.pi / AROUND)
    nodes = np.stack(
        [
            np.broadcast_to(np.cos(angle)[:, None] * corner, shape),
            np.broadcast_to(np.sin(angle)[:, None] * corner, shape),
            np.broadcast_to(level[:, None, None], shape),
        ]
    )
    layout = Layout(angle, level, (), (), (), (), 0.0)
    nodes = np.ascontiguousarray(nodes)
    between, volume = couplings(nodes)
    grid = Grid(
        layout=layout,
        nodes=nodes,
        angle=np.broadcast_to(angle, shape[:2]),
        level=np.broadcast_to(level[:, None], shape[:2]),
        skin_radius=np.full(shape[:2], r[-1]),
        layer_of_cell=tuple(layer.name for layer in layers for _ in range(layer.cells)),
        skin_node=r.size - 1,
        panel_node=r.size - 1,
        couplings=between,
        volume=volume,
    )
    everywhere = np.ones(shape[:2])
    skin = SkinExchange(exchange * everywhere, 0.0 * everywhere, air_c, 0.0)
    cells = np.full((ALONG - 1, AROUND, r.size - 1), heating)
    return make_bioheat(
        grid, {layer.name: layer.tissue() for layer in layers}, BLOOD, skin, cells, arterial_c
    )


def along_radius(temperature_c: Floats) -> Floats:
    """The temperatures along one radius, after a look that all radii are alike."""
    middle = temperature_c[ALONG // 2, 0]
    assert np.max(np.abs(temperature_c - middle)) < 2e-3
    return np.asarray(middle)
