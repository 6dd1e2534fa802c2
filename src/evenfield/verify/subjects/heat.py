"""The heat solver against closed forms and conservation of energy.

The closed-form cases use a thigh of one made-up tissue, so that the 3-D solver must give the radial answer.
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from evenfield.body import RegionKind
from evenfield.grid.fit import Grid
from evenfield.grid.layout import Spacing
from evenfield.heat.bioheat import Bioheat, make_bioheat
from evenfield.heat.history import simulate
from evenfield.heat.power import PowerCurve
from evenfield.heat.room import Room
from evenfield.heat.skin import SkinExchange, skin_exchange
from evenfield.heat.stepping import steady, steps
from evenfield.tissue import Blood, ConstantFlow, Label, Tissue, Value, load_tissue_set
from evenfield.verify.checks import Check, Kind, Subject, check, register
from evenfield.verify.closed_forms.pennes_steady import PennesTissue, Surface, cylinder
from evenfield.verify.closed_forms.pennes_transient import cylinder_from_rest, uniform_source
from evenfield.verify.reference_case import PanelCase, thigh

Floats = NDArray[np.float64]

RADIUS_M = 0.095
CONDUCTIVITY, CAPACITY, FLOW, SOURCE, EXCHANGE, ARTERIAL_C = 0.5, 4e6, 2000.0, 20000.0, 20.0, 37.0
"""k [W/mK], rho·c [J/m³K], W [W/m³K], q [W/m³], h [W/m²K], T_a [°C]."""
BESSEL = "long cylinder with blood flow, Bessel functions (Pennes 1948; Carslaw and Jaeger 1959)"
BALANCE = "conservation of energy"


@cache
def case() -> PanelCase:
    return thigh(radius_m=RADIUS_M)


@cache
def grid() -> Grid:
    return case().grid(Spacing(scale=1.6))


def even_exchange(exchange_w_m2k: float, air_c: float) -> SkinExchange:
    shape = grid().shape[:2]
    return SkinExchange(np.full(shape, exchange_w_m2k), np.zeros(shape), air_c, 0.0)


def one_tissue(exchange_w_m2k: float, air_c: float) -> Bioheat:
    """The thigh with the same made-up tissue throughout; its heat is given as metabolic."""

    def value(number: float, unit: str) -> Value:
        return Value(number, unit, "made up for this check", Label.A)

    blood = Blood(value(1000.0, "kg/m³"), value(4000.0, "J/(kg K)"))
    tissue = Tissue(
        name="one",
        dielectric=load_tissue_set().tissue("muscle").dielectric,
        flow=ConstantFlow(value(FLOW / 4000.0, "kg/(s m³)")),
        values={
            "conductivity_w_mk": value(CONDUCTIVITY, "W/(m K)"),
            "heat_capacity_j_kgk": value(CAPACITY / 1000.0, "J/(kg K)"),
            "density_kg_m3": value(1000.0, "kg/m³"),
            "metabolic_w_kg": value(SOURCE / 1000.0, "W/kg"),
        },
    )
    nk, nj, _ = grid().shape
    nothing = np.zeros((nk - 1, nj, grid().skin_node))
    tissues = dict.fromkeys(case().region.layers, tissue)
    return make_bioheat(grid(), tissues, blood, even_exchange(exchange_w_m2k, air_c), nothing, ARTERIAL_C)


def node_radius() -> Floats:
    """Distance of the nodes from the axis (nk, nj, skin_node + 1) [m]."""
    inside = grid().nodes[:, :, :, : grid().skin_node + 1]
    return np.asarray(np.hypot(inside[0], inside[1]))


@check(
    "heat_steady_cylinder",
    Subject.HEAT,
    "steady thigh of one tissue, h 20 W/m²K, air 24 °C: largest error anywhere",
    expected=0.0,
    tolerance=0.05,
    unit="K",
    source=BESSEL,
    label=Label.C,
)
def _steady_cylinder() -> float:
    got = steady(one_tissue(EXCHANGE, 24.0))
    tissue = PennesTissue(CONDUCTIVITY, FLOW, ARTERIAL_C, SOURCE)
    exact = cylinder(tissue, RADIUS_M, Surface(EXCHANGE, 24.0), node_radius())
    return float(np.max(np.abs(got - exact)))


def after(minutes: float, exchange_w_m2k: float) -> Floats:
    """Excess over arterial of the thigh of one tissue after some minutes of heating from rest."""
    model = one_tissue(exchange_w_m2k, ARTERIAL_C)
    state = np.full(model.capacity.shape, ARTERIAL_C)
    for step in steps(model, state, 0.0, 0.0, 60.0 * minutes):
        state = step.temperature_c
    return state - ARTERIAL_C


def transient_error(minutes: float) -> float:
    exact = cylinder_from_rest(
        node_radius(),
        60.0 * minutes,
        radius_m=RADIUS_M,
        conductivity_w_mk=CONDUCTIVITY,
        heat_capacity_j_m3k=CAPACITY,
        flow_w_m3k=FLOW,
        source_w_m3=SOURCE,
        exchange_w_m2k=EXCHANGE,
    )
    return float(np.max(np.abs(after(minutes, EXCHANGE) - exact)))


for _minutes in (5.0, 30.0):
    register(
        Check(
            f"heat_transient_cylinder_{_minutes:.0f}min",
            Subject.HEAT,
            f"the same, {_minutes:.0f} min after the heat came on, air at 37 °C: largest error",
            0.0,
            0.05,
            Kind.ABSOLUTE,
            "K",
            BESSEL,
            Label.C,
            partial(transient_error, _minutes),
        )
    )


@check(
    "heat_uniform_source",
    Subject.HEAT,
    "the same without skin exchange, 20 min: largest error against (q/W)(1 − exp(−tW/ρc))",
    expected=0.0,
    tolerance=0.05,
    unit="K",
    source="uniform source without conduction",
    label=Label.C,
)
def _uniform() -> float:
    exact = uniform_source(
        np.array([1200.0]), heat_capacity_j_m3k=CAPACITY, flow_w_m3k=FLOW, source_w_m3=SOURCE
    )
    return float(np.max(np.abs(after(20.0, 0.0) - exact[0])))


@check(
    "heat_balance",
    Subject.HEAT,
    "thigh between two panels, 30 W, pause, 40 W, cooling: heat in against stored, blood and skin",
    expected=0.0,
    tolerance=0.01,
    source=BALANCE,
    label=Label.C,
)
def _balance() -> float:
    field, tissues = case().field(Spacing(scale=1.6)), load_tissue_set()
    nk, nj, _ = field.grid.shape
    exchange = skin_exchange(
        RegionKind.THIGH, Room(), np.full((nk, nj), 0.01), np.zeros((nk, nj), dtype=bool)
    )
    layers = {name: tissues.tissue(name) for name in field.share}
    model = make_bioheat(field.grid, layers, tissues.blood, exchange, field.heating)
    power = PowerCurve((0.0, 300.0, 360.0), (30.0, 0.0, 40.0), 900.0)
    return simulate(model, power, np.array([0.0, 1200.0])).balance.closure
