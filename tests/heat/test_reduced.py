"""The reduced heat model against the full one it was built from."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from evenfield.heat.bioheat import Bioheat
from evenfield.heat.history import simulate
from evenfield.heat.power import PowerCurve
from evenfield.heat.reduced import HeatParameters, ReducedHeat, ReducedState
from evenfield.heat.reduced_basis import interpolation
from evenfield.heat.reduced_build import build_reduced
from tests.heat.conftest import Body

Floats = NDArray[np.float64]
MINUTES = np.arange(0.0, 46.0)
UNSEEN = PowerCurve((0.0, 480.0, 570.0, 1080.0, 1500.0, 1680.0), (0.9, 0.0, 1.25, 0.75, 0.0, 1.1), 2520.0)
"""Power as a share of that which the model is built for; its times and steps are none of the training's."""


def follow(reduced: ReducedHeat, parameters: HeatParameters, curve: PowerCurve) -> list[ReducedState]:
    """Its states at every whole minute."""
    times = sorted({*(60.0 * MINUTES), *(b for b in curve.breaks() if b < 60.0 * MINUTES[-1])})
    states = [reduced.start(parameters)]
    state = states[0]
    for begin, end in itertools.pairwise(times):
        state = reduced.advance(state, curve.at(begin), end - begin)
        if end in 60.0 * MINUTES:
            states.append(state)
    return states


def errors(arm: Body, model: Bioheat, reduced: ReducedHeat, parameters: HeatParameters) -> dict[str, float]:
    """Largest differences over all minutes: at skin and fat nodes, of zone means, of the zones' hottest."""
    curve = UNSEEN.scaled(arm.watts)
    full = simulate(model, curve, 60.0 * MINUTES).temperature_c
    fat = model.grid.cells_of("fat").start
    out = {"nodes": 0.0, "means": 0.0, "hottest": 0.0}
    for state, truth in zip(follow(reduced, parameters, curve), full, strict=True):
        flat = truth.ravel()
        hottest = np.array([flat[nodes].max() for nodes in arm.zones.inside])
        now = {
            "nodes": reduced.field(state)[:, :, fat:] - truth[:, :, fat:],
            "means": reduced.zone_means(state)[0] - arm.zones.mean @ flat,
            "hottest": reduced.hottest(state)[0] - hottest,
        }
        out = {name: max(out[name], float(np.max(np.abs(now[name])))) for name in out}
    return out


@pytest.fixture(scope="module")
def reduced(coarse_arm: Body) -> ReducedHeat:
    """With the parameters free, and a second source that heats the first half of the levels only."""
    other = coarse_arm.model.source.copy()
    other[other.shape[0] // 2 :] *= 0.5
    return build_reduced(
        coarse_arm.model,
        coarse_arm.watts,
        coarse_arm.zones.mean,
        coarse_arm.zones.inside,
        sources=[other],
    )


@pytest.mark.slow
def test_it_follows_the_full_model_on_the_default_grid(fine_arm: Body) -> None:
    """45 minutes with pauses and power changes it was not trained on: 0.1 °C everywhere in skin and fat."""
    arm = fine_arm
    reduced = build_reduced(arm.model, arm.watts, arm.zones.mean, arm.zones.inside, varied=False)
    found = errors(arm, arm.model, reduced, reduced.parameters())
    assert reduced.start_c.size > 90_000
    assert reduced.rates.size <= 50
    assert found["nodes"] < 0.1
    assert found["means"] < 0.05
    assert found["hottest"] < 0.06


def test_it_follows_other_blood_flow_and_skin_exchange(coarse_arm: Body, reduced: ReducedHeat) -> None:
    """Parameters between the corners it was built from, each layer's its own, and warmer blood."""
    flow = {"fat": 1.6, "muscle": 0.65, "skin": 1.4}
    model = replace(coarse_arm.model.varied(flow, 0.8), arterial_c=37.3)
    found = errors(coarse_arm, model, reduced, reduced.parameters(flow=flow, exchange=0.8, arterial_c=37.3))
    assert found["nodes"] < 0.15
    assert found["means"] < 0.06
    assert found["hottest"] < 0.1


def test_it_follows_a_mix_of_sources(coarse_arm: Body, reduced: ReducedHeat) -> None:
    other = coarse_arm.model.source.copy()
    other[other.shape[0] // 2 :] *= 0.5
    model = replace(coarse_arm.model, source=0.4 * coarse_arm.model.source + 0.6 * other)
    found = errors(coarse_arm, model, reduced, reduced.parameters(source=[0.4, 0.6]))
    assert found["nodes"] < 0.1
    assert found["means"] < 0.05


def test_members_go_each_their_own_way(coarse_arm: Body, reduced: ReducedHeat) -> None:
    """An ensemble gives what each of its members gives alone."""
    exchange, fat, watts = np.array([0.8, 1.0, 1.3]), np.array([1.5, 1.0, 0.6]), np.array([0.0, 5.0, 20.0])
    together = reduced.advance(
        reduced.start(reduced.parameters(3, flow={"fat": fat}, exchange=exchange)), watts, 600.0
    )
    means, hottest = reduced.zone_means(together), reduced.hottest(together)
    for n in range(3):
        alone = reduced.advance(
            reduced.start(reduced.parameters(flow={"fat": fat[n]}, exchange=exchange[n])), watts[n], 600.0
        )
        assert reduced.zone_means(alone)[0] == pytest.approx(means[n], abs=1e-6)
        assert reduced.hottest(alone)[0] == pytest.approx(hottest[n], abs=1e-4)
        assert reduced.field(alone) == pytest.approx(reduced.field(together, n), abs=1e-4)
    assert np.ptp(means, axis=0).min() > 0.1


def test_baseline_is_steady_for_every_member(reduced: ReducedHeat) -> None:
    parameters = reduced.parameters(
        3, flow={"skin": np.array([0.5, 1.0, 2.0])}, exchange=np.array([0.7, 1.0, 1.4])
    )
    state = reduced.start(parameters)
    later = reduced.advance(state, 0.0, 2700.0)
    assert reduced.zone_means(later) == pytest.approx(reduced.zone_means(state), abs=0.002)
    assert later.time_s == 2700.0


def test_nominal_baseline_is_that_of_the_full_model(reduced: ReducedHeat) -> None:
    """Found by the reduced equations alone, it must come out where the full model's equations put it."""
    state = reduced.start(reduced.parameters())
    assert reduced.field(state) == pytest.approx(reduced.start_c, abs=0.005)


def test_step_is_of_second_order(coarse_arm: Body, reduced: ReducedHeat) -> None:
    """Richardson: halving the step quarters the change, whatever the diagonal Jacobian leaves out."""
    start = reduced.start(reduced.parameters(flow={"fat": 2.0, "skin": 2.0, "muscle": 2.0}))

    def end(step_s: float) -> Floats:
        state = reduced.advance(start, coarse_arm.watts, 1200.0, step_s=step_s)
        return np.asarray(reduced.zone_means(state)[0])

    coarse, middle, fine = end(60.0), end(30.0), end(15.0)
    order = np.log2(np.max(np.abs(coarse - middle)) / np.max(np.abs(middle - fine)))
    assert order == pytest.approx(2.0, abs=0.5)


def test_outputs_agree_with_the_field(coarse_arm: Body, reduced: ReducedHeat) -> None:
    """Zone means, chosen nodes and candidates are the field's own values; the hottest is never overstated."""
    state = reduced.advance(reduced.start(reduced.parameters()), coarse_arm.watts, 900.0)
    field = reduced.field(state).ravel()
    zones = coarse_arm.zones
    assert reduced.zone_means(state)[0] == pytest.approx(zones.mean @ field, abs=1e-4)
    nodes = np.array([5, 700, field.size - 1])
    assert reduced.at(state, nodes)[0] == pytest.approx(field[nodes], abs=1e-4)
    hottest = np.array([field[inside].max() for inside in zones.inside])
    found = reduced.hottest(state)[0]
    assert np.all(found < hottest + 1e-3)
    assert found == pytest.approx(hottest, abs=0.05)


def test_shapes_are_orthonormal_and_decay(coarse_arm: Body, reduced: ReducedHeat) -> None:
    v = reduced.shapes.reshape(-1, reduced.rates.size).astype(float)
    product = v.T @ (coarse_arm.model.capacity.reshape(-1, 1) * v)
    assert product == pytest.approx(np.eye(reduced.rates.size), abs=1e-4)
    assert np.all(reduced.rates > 0)


def test_interpolation_is_exact_for_terms_in_its_span() -> None:
    """Any mixture of the terms it was made from is met at every node from a few of them."""
    rng = np.random.default_rng(4)
    terms = rng.normal(size=(6, 200))
    weight = rng.uniform(0.5, 2.0, 200)
    nodes, shapes = interpolation(terms.astype(np.float32), weight, 1e-4, 30)
    mixture = rng.normal(size=6) @ terms
    assert nodes.size == 6
    assert shapes @ mixture[nodes] == pytest.approx(mixture, abs=1e-4)


def test_tables_are_the_laws_between_their_points_too(coarse_arm: Body, reduced: ReducedHeat) -> None:
    """Blood's term at its nodes is that of the tissue's law, less its constant reference."""
    rng = np.random.default_rng(3)
    parameters = reduced.parameters(arterial_c=30.0)
    coordinates = rng.normal(scale=30.0, size=(1, reduced.rates.size))
    points = reduced.points
    fat = points.term == reduced.layers.index("fat")
    temperature = points.start_c[fat] + coordinates[0] @ points.shapes[fat].T
    assert np.ptp(temperature) > 1.0
    per_kelvin = points.values(coordinates, parameters)[0, fat] / (temperature - 30.0)
    flow = coarse_arm.setting.tissues["fat"].flow.at(temperature)
    carried = coarse_arm.model.blood.heat_capacity_j_kgk * flow
    assert np.ptp(carried - per_kelvin) < 1e-4 * np.ptp(carried)


def test_an_unknown_layer_is_named(reduced: ReducedHeat) -> None:
    with pytest.raises(ValueError, match="'tendon'; the layers are bone, muscle, fat, skin"):
        reduced.parameters(flow={"tendon": 1.0})
