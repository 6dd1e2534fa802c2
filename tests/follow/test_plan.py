"""A plan's model: what is in it, and keeping it as an .npz file."""

import dataclasses
import io
import json

import numpy as np
import pytest

from evenfield.case import Case
from evenfield.field import solve_field
from evenfield.follow import FollowModel, Prior, from_npz, prepare, to_npz
from evenfield.follow.prior import DEFAULT_PRIOR, Z90
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import bioheat_of, setting_of
from evenfield.forecast.zones import make_zones
from evenfield.grid.fit import fit
from evenfield.heat.stepping import steady, steps
from evenfield.tissue import Label


def test_kept_and_read_back_it_is_the_same(model: FollowModel) -> None:
    content = to_npz(model)
    again = from_npz(content)
    assert to_npz(again) == content
    assert (again.zones, again.panels, again.prior, again.band_c) == (
        model.zones,
        model.panels,
        model.prior,
        model.band_c,
    )
    state = [m.heat.advance(m.heat.start(m.heat.parameters(2)), 15.0, 600.0) for m in (model, again)]
    assert np.array_equal(model.heat.zone_means(state[0]), again.heat.zone_means(state[1]))
    assert np.array_equal(model.heat.hottest(state[0]), again.heat.hottest(state[1]))


def test_another_format_is_refused(model: FollowModel) -> None:
    with np.load(io.BytesIO(to_npz(model))) as file:
        arrays = {name: file[name] for name in file.files}
    words = json.loads(arrays["words"].tobytes()) | {"format": 99}
    arrays["words"] = np.frombuffer(json.dumps(words).encode(), dtype=np.uint8)
    out = io.BytesIO()
    np.savez(out, **arrays)
    with pytest.raises(ValueError, match="format 99; this program reads format 2"):
        from_npz(out.getvalue())


def test_zones_and_panels_are_the_plans(model: FollowModel, arm: Case) -> None:
    assert len(model.zones) == 18
    assert [panel.name for panel in model.panels] == ["inner", "outer"]
    assert len({zone.label for zone in model.zones}) == 18
    assert model.zone_number("outer: centre") == 13
    assert model.area.sum() == pytest.approx(1.0)
    assert model.band_c == arm.session.band_c
    assert len(model.heat.sources) == 1 + 6 * 2 + 1


def test_sources_are_those_of_the_fields(model: FollowModel, arm: Case) -> None:
    """The second source is the first panel 3 mm farther, solved anew; its zones heat less than the plan's."""
    layout = chosen_layout(arm.region, arm.placed).coarser().coarser()
    setting = setting_of(arm)
    farther = arm.with_panel("inner", gap_m=arm.panels[0].gap_m + 0.003)
    drives = [panel.drive for panel in arm.panels]

    def fat_share(case: Case) -> float:
        field = solve_field(fit(layout, case.region, case.placed), setting.materials, drives)
        source = bioheat_of(case, setting, field).source
        return float(source[:, :8].sum() / source.sum())

    want = fat_share(farther) - fat_share(arm)
    state = [
        model.heat.advance(
            model.heat.start(model.heat.parameters(source=np.eye(14)[n])), 20.0, 20.0, step_s=20.0
        )
        for n in (0, 1)
    ]
    inner = slice(1, 18, 2)
    change = (model.heat.zone_means(state[1]) - model.heat.zone_means(state[0]))[0, inner].sum()
    assert want < 0
    assert change < 0


def test_every_belief_has_source_and_label() -> None:
    for field in dataclasses.fields(Prior):
        value = getattr(DEFAULT_PRIOR, field.name)
        assert value.source.startswith("Assumption: ")
        assert value.label is Label.A
    assert len(DEFAULT_PRIOR.lines()) == len(dataclasses.fields(Prior))


def test_the_fractions_ends_are_a_ninety_percent_interval(arm: Case) -> None:
    fraction = arm.session.absorbed_fraction
    spread = DEFAULT_PRIOR.fraction_sd(fraction)
    assert fraction.low * np.exp(2 * Z90 * spread) == pytest.approx(fraction.high)


def test_building_tells_its_progress_and_can_be_cancelled(arm: Case) -> None:
    told: list[float] = []

    class Enough(Exception):  # noqa: N818
        pass

    def tell(share: float) -> None:
        told.append(share)
        if len(told) == 3:
            raise Enough

    with pytest.raises(Enough):
        prepare(arm, layout=chosen_layout(arm.region, arm.placed).coarser().coarser(), progress=tell)
    assert told == sorted(told)


@pytest.mark.slow
def test_spots_differ_as_in_the_full_order_model(arm: Case) -> None:
    """With nothing uncertain, the spread of the rise between spots is that of the full-order field."""
    layout = chosen_layout(arm.region, arm.placed).coarser().coarser()
    certain = {f.name: getattr(DEFAULT_PRIOR, f.name) for f in dataclasses.fields(DEFAULT_PRIOR)}
    for name, value in certain.items():
        if name not in ("usual_tuning", "forget_s"):
            certain[name] = dataclasses.replace(value, value=0.0)
    found = prepare(arm, layout=layout, prior=Prior(**certain))
    setting = setting_of(arm)
    grid = fit(layout, arm.region, arm.placed)
    field = solve_field(grid, setting.materials, [p.drive for p in arm.panels], residual=1e-6)
    full = bioheat_of(arm, setting, field)
    start = steady(full)
    watts = 1.3 * max(arm.session.absorbed()[1].watts)
    last = [step.temperature_c for step in steps(full, start, watts, 0.0, 1200.0, first_s=8.0)][-1]
    zones = make_zones(grid, arm.placed, arm.measurements.kind.trunk)
    for n, inside in enumerate(zones.inside[::2]):
        surface = inside[inside % start.shape[2] == start.shape[2] - 1]
        area = full.area.ravel()[surface // start.shape[2]]
        rise = (last - start).ravel()[surface]
        mean = np.average(rise, weights=area)
        spread = np.sqrt(np.average((rise - mean) ** 2, weights=area))
        assert found.spot_share[n] == pytest.approx(spread / mean, rel=0.1, abs=0.005)
