"""What must hold for any body, placement, room and session that a case file allows: conservation, symmetry,
the maximum principle, and a document of numbers."""

import json
from dataclasses import replace

import numpy as np
import pytest

from evenfield.case import Case
from evenfield.forecast import Forecast, forecast, forecast_to_json
from evenfield.forecast.accuracy import chosen_layout
from evenfield.grid.layout import Spacing, make_layout
from tests.forecast.strange import strange_cases

CASES = strange_cases(6, seed=2)[0]


def mirrored(case: Case) -> Case:
    """Inner and outer side exchanged."""
    m = case.measurements
    swapped = tuple((front, outer, back, inner) for front, inner, back, outer in m.fat_m)
    panels = tuple(
        replace(p, angle_rad=-p.angle_rad, tilt_across_rad=-p.tilt_across_rad) for p in case.panels
    )
    return replace(case, measurements=replace(m, fat_m=swapped), panels=panels)


def on_coarse_grid(case: Case) -> Forecast:
    layout = make_layout(case.region, case.placed, Spacing(scale=2.0))
    return forecast(case, layout=layout, with_band=False)


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.measurements.kind}-{len(case.panels)}")
def test_invariants(case: Case) -> None:
    """On the default grid, not refined further. No outside source is needed: energy is conserved, heat flows
    from hot to cold, and heating adds no cold."""
    result = forecast(case, layout=chosen_layout(case.region, case.placed), with_band=False)
    field, model = result.field, result.heat
    assert field.energy_closure < 0.005
    assert sum(field.share.values()) == pytest.approx(1.0)
    assert field.heating.min() > 0.0
    assert field.numerics.history[-1] <= 1e-6
    assert result.history.balance.closure < 0.01
    assert result.history.balance.absorbed_j == pytest.approx(case.session.power.energy_j(), rel=1e-9)
    json.dumps(forecast_to_json(result), allow_nan=False)

    temperature = result.history.temperature_c.astype(float)
    baseline = temperature[0]
    drift = model.flows(baseline, 0.0).net / model.capacity
    skin_and_fat = field.grid.cells_of("fat").start
    assert 60 * np.abs(drift[:, :, skin_and_fat:]).max() < 0.05  # K in a minute
    coldest, warmest = min(case.room.air_c, case.session.baseline_c), case.session.baseline_c
    if case.room.wettedness == 0:  # evaporation may cool below the air
        assert baseline.min() > coldest - 0.01
    # what tissue makes itself warms it by no more than metabolism over blood flow, a few tenths of a kelvin
    assert baseline.max() < max(warmest, case.room.air_c) + 1.5
    rise = temperature - baseline
    assert rise.min() > -0.05
    # no place warms faster than the hottest does without conduction and blood
    fastest = (model.source / model.capacity).max() * max(case.session.power.watts)
    assert np.all(rise.max(axis=(1, 2, 3)) <= fastest * result.history.time_s + 0.05)
    assert np.all(np.isfinite(temperature))
    for zone in result.zones:
        assert zone.peak_c >= zone.mean_series_c.max() - 1e-3
        assert zone.cem43 >= 0.0


def test_a_mirrored_case_is_answered_mirrored() -> None:
    """Inner for outer: the same shares, admittance, evenness and peaks."""
    case = next(c for c in CASES if len(c.panels) > 1)
    uneven = ((0.010, 0.016, 0.012, 0.022),) * len(case.measurements.level_m)
    case = replace(case, measurements=replace(case.measurements, fat_m=uneven))
    here, there = on_coarse_grid(case), on_coarse_grid(mirrored(case))
    assert there.field.admittance_s == pytest.approx(here.field.admittance_s, rel=2e-3)
    for name, share in here.field.share.items():
        assert there.field.share[name] == pytest.approx(share, abs=2e-3)
    assert there.evenness.ratio == pytest.approx(here.evenness.ratio, rel=0.02)
    for name, peak in here.peak_c.items():
        assert there.peak_c[name] == pytest.approx(peak, abs=0.1)


def test_refusals_are_one_sentence_with_the_key() -> None:
    refused = strange_cases(40, seed=2)[1]
    assert len(refused) > 50
    for error in refused:
        sentence = str(error)
        assert "\n" not in sentence
        assert error.key.split("[")[0].split(".")[0] in ("region", "panel")
        assert error.key in sentence
        assert "needed" in sentence or "allowed" in sentence
