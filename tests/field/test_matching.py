"""The matching circuit against scikit-rf, against search, and as physics: passive, energy kept."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import skrf  # type: ignore[import-untyped]
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import Bounds, differential_evolution

from evenfield.field.device import Cables, load_device_profile
from evenfield.field.matching import (
    OMEGA,
    Circuit,
    Range,
    TwoWireLine,
    at_setting,
    best_match,
    stuck_match,
)
from evenfield.tissue import FREQUENCY_HZ
from tests.field.placements_computed import COMPUTED, computed

PROFILE = load_device_profile()
CIRCUIT = PROFILE.circuit()
FREQUENCY = skrf.Frequency.from_f([FREQUENCY_HZ], unit="hz")

conductances = st.floats(1e-6, 1e-3)
susceptances = st.floats(2e-4, 6e-3)
loads = st.builds(complex, conductances, susceptances)
shunts = st.floats(1e-12, 1e-9)
series = st.floats(5e-12, 1e-9)
lays = st.sampled_from(list(Cables))


def two_port(circuit: Circuit, shunt_f: float, series_f: float) -> skrf.Network:
    """Source to panels as scikit-rf cascades it, ports 50 ohm; the line from its own RLGC medium."""
    media = skrf.media.DefinedGammaZ0(FREQUENCY, z0=circuit.source_ohm)
    r, ind, g, c = circuit.cables.per_metre()
    line = skrf.media.DistributedCircuit(FREQUENCY, C=c, L=ind, R=r, G=g, z0_port=circuit.source_ohm)
    coil_ohm = OMEGA * circuit.coil_h / circuit.coil_q
    return (
        media.shunt_capacitor(shunt_f)
        ** media.capacitor(series_f)
        ** media.inductor(circuit.coil_h)
        ** media.resistor(coil_ohm)
        ** line.line(circuit.cables.length_m, unit="m")
    )


@pytest.mark.parametrize("lay", list(Cables))
@pytest.mark.parametrize("key", list(COMPUTED)[::5], ids=str)
@pytest.mark.parametrize("setting", [(125e-12, 20e-12), (10e-12, 150e-12), (60e-12, 11e-12)], ids=str)
def test_reflection_and_power_in_the_load_as_scikit_rf(
    lay: Cables, key: tuple[str, int, int, float], setting: tuple[float, float]
) -> None:
    circuit, y = PROFILE.circuit(lay), COMPUTED[key]
    match = at_setting(circuit, y, *setting)
    network = two_port(circuit, *setting)
    load = skrf.Network(frequency=FREQUENCY, s=[[[(1 - 50 * y) / (1 + 50 * y)]]], z0=50)
    reflection = (network**load).s[0, 0, 0]
    assert abs(match.reflection - reflection) < 1e-9
    assert match.tuning_percent == pytest.approx(100 * (1 - abs(reflection) ** 2), abs=1e-7)

    # With port 2 at the load's impedance and power waves, |S21|² is the load's part of the available power.
    network.renormalize([50, 1 / y], s_def="power")
    into_load = abs(network.s[0, 1, 0]) ** 2
    assert match.tuning_percent / 100 * match.load_share == pytest.approx(into_load, abs=1e-9)


def test_line_of_600_ohm() -> None:
    """Open-wire line: 276·log10(2D/d) ohm for D far above d (handbook formula, M); 2D/d = 150 gives 600.6."""
    line = TwoWireLine(0.6, 4e-3, 4.000001e-3, 1.0, 0.0, 5.8e7, 0.3)
    assert line.characteristic_ohm().real == pytest.approx(276 * math.log10(150), rel=2e-3)
    _, inductance, conductance, capacitance = line.per_metre()
    assert 1 / math.sqrt(inductance * capacitance) == pytest.approx(299_792_458, rel=1e-6)
    assert conductance == 0


def test_copper_loss_of_the_line() -> None:
    """Skin depth of copper is 66.1 µm/√(f/MHz), 12.69 µm here (handbook, M): a layer round each wire."""
    depth = 66.1e-6 / math.sqrt(27.12)
    r, *_ = TwoWireLine(0.6, 4e-3, 8e-3, 3.0, 0.0, 5.8e7, 0.3).per_metre()
    assert r == pytest.approx(2 / (5.8e7 * math.pi * 4e-3 * depth), rel=2e-3)


def test_insulation_only_adds_capacitance() -> None:
    bare = TwoWireLine(0.6, 4e-3, 8e-3, 1.0, 0.01, 5.8e7, 8e-3).per_metre()
    coated = TwoWireLine(0.6, 4e-3, 8e-3, 3.0, 0.01, 5.8e7, 8e-3).per_metre()
    assert coated[:2] == bare[:2]
    assert bare[3] < coated[3] < 3 * bare[3]
    loss_tangent = coated[2] / (OMEGA * coated[3])
    assert 0 < loss_tangent < 0.01, "part of the field is in air, so the line loses less than its insulation"


@given(load=loads, lay=lays, shunt_f=shunts, series_f=series, q=st.floats(20, 1e4))
def test_passive_and_no_energy_lost(
    load: complex, lay: Cables, shunt_f: float, series_f: float, q: float
) -> None:
    match = at_setting(PROFILE.circuit(lay, coil_q=q), load, shunt_f, series_f)
    assert 0 <= match.tuning_percent <= 100
    assert match.tuning_percent == pytest.approx(100 * (1 - abs(match.reflection) ** 2), abs=1e-6)
    shares = (match.load_share, match.cable_share, match.coil_share)
    assert min(shares) > 0
    assert sum(shares) == pytest.approx(1, abs=1e-9)


def _lossless(circuit: Circuit) -> Circuit:
    cables = replace(circuit.cables, loss_tangent=0.0, conductivity_s_m=1e40)
    return replace(circuit, coil_q=1e18, cables=cables)


@given(load=loads, lay=lays)
def test_wide_lossless_tuner_matches_all(load: complex, lay: Cables) -> None:
    """A shunt capacitor at the source transforms downwards: every branch up to 50 ohm can be matched."""
    circuit = replace(
        _lossless(PROFILE.circuit(lay)),
        shunt_f=Range(1e-18, 1e-3),
        series_f=Range(1e-18, 1e-3),
        coil_h=1e-4,
    )
    match = best_match(circuit, load)
    assume(match.resistance_ohm <= circuit.source_ohm)
    assert match.tuning_percent == pytest.approx(100, abs=1e-5)
    assert match.load_share == pytest.approx(1, abs=1e-9)
    assert match.at_end == ()


@given(load=loads, lay=lays, where=st.tuples(st.floats(0, 1), st.floats(0, 1)))
def test_no_setting_is_better(load: complex, lay: Cables, where: tuple[float, float]) -> None:
    circuit = PROFILE.circuit(lay)
    best = best_match(circuit, load)
    spans = (circuit.shunt_f, circuit.series_f)
    for span, value in zip(spans, (best.shunt_f, best.series_f), strict=True):
        assert span.least <= value <= span.most
    setting = [s.least + w * (s.most - s.least) for s, w in zip(spans, where, strict=True)]
    assert at_setting(circuit, load, *setting).tuning_percent <= best.tuning_percent + 1e-9


@pytest.mark.parametrize("source_ohm", [10.0, 50.0])
@pytest.mark.parametrize(
    "ranges",
    [
        ((10e-12, 125e-12), (9e-12, 150e-12)),
        ((10e-12, 900e-12), (9e-12, 150e-12)),
        ((10e-12, 900e-12), (30e-12, 40e-12)),
        ((300e-12, 900e-12), (9e-12, 14e-12)),
    ],
)
def test_best_setting_is_what_a_global_search_finds(
    source_ohm: float, ranges: tuple[tuple[float, float], tuple[float, float]]
) -> None:
    shunt, ser = (Range(*r) for r in ranges)
    circuit = replace(CIRCUIT, shunt_f=shunt, series_f=ser, source_ohm=source_ohm)
    load = computed("upper_arm", 12, 12)

    def minus_tuning(picofarad: NDArray[np.float64]) -> float:
        shunt_f, series_f = 1e-12 * picofarad
        return -at_setting(circuit, load, float(shunt_f), float(series_f)).tuning_percent

    searched = differential_evolution(
        minus_tuning,
        Bounds([1e12 * shunt.least, 1e12 * ser.least], [1e12 * shunt.most, 1e12 * ser.most]),
        rng=np.random.default_rng(3),
        tol=1e-10,
        popsize=8,
    )
    assert best_match(circuit, load).tuning_percent == pytest.approx(-searched.fun, abs=1e-4)


@given(load=loads)
def test_a_wider_range_never_tunes_worse(load: complex) -> None:
    wider = replace(CIRCUIT, shunt_f=Range(5e-12, 200e-12), series_f=Range(8e-12, 200e-12))
    assert best_match(wider, load).tuning_percent >= best_match(CIRCUIT, load).tuning_percent - 1e-9


@given(load=loads)
def test_a_stuck_tuner_is_at_its_end_and_never_better(load: complex) -> None:
    stuck = stuck_match(CIRCUIT, load)
    assert {"series least", "series most"} & set(stuck.at_end)
    assert stuck.tuning_percent <= best_match(CIRCUIT, load).tuning_percent + 1e-9


def test_only_a_capacitor_at_its_bound_is_at_the_end() -> None:
    load = computed("thigh", 10, 10)
    assert at_setting(CIRCUIT, load, 125e-12, 150e-12).at_end == ("shunt most", "series most")
    assert at_setting(CIRCUIT, load, 10e-12, 9e-12).at_end == ("shunt least", "series least")
    assert at_setting(CIRCUIT, load, 124e-12, 9.1e-12).at_end == ()


@pytest.mark.parametrize("load", [0j, 1e-3j, complex(1e-5, 0), complex(-1e-5, 1e-3), complex(math.nan, 1e-3)])
def test_what_is_no_lossy_capacitor_is_refused(load: complex) -> None:
    with pytest.raises(ValueError, match="allowed: conductance and susceptance both above 0"):
        best_match(CIRCUIT, load)
