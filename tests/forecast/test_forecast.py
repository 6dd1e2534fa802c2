"""The whole forecast of a shipped example: what it must contain, conserve and keep in proportion."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from evenfield.case import Case, PowerKind, read_case
from evenfield.forecast import CAUTIONS, Cancelled, Forecast, forecast, forecast_to_json
from evenfield.forecast.engine import cautions_of
from evenfield.heat.power import PowerCurve

EXAMPLES = Path(__file__).parents[2] / "examples"


def arm(watts: float = 25.0, minutes: float = 20.0, kind: PowerKind = PowerKind.SET) -> Case:
    case = read_case(EXAMPLES / "upper_arm.toml")
    session = replace(
        case.session,
        power=PowerCurve.constant(watts, 60 * minutes),
        power_kind=kind,
        after_s=300.0,
        picture_s=60 * minutes,
    )
    return replace(case, session=session)


@pytest.fixture(scope="module")
def result() -> Forecast:
    return forecast(arm())


def test_it_conserves(result: Forecast) -> None:
    assert result.field.energy_closure < 0.005
    assert result.history.balance.closure < 0.01
    assert result.error_estimate < 0.02
    assert result.field.numerics.unknowns >= 149_000


def test_it_warms_and_cools(result: Forecast) -> None:
    """Baseline without power is steady below 37 °C; fat is hottest at the end of power and cools after."""
    fat = result.peak_series_c["fat"]
    assert result.history.temperature_c[0].max() < 37.2
    assert fat.argmax() == pytest.approx(20, abs=1)
    assert fat[-1] < fat.max() - 0.5
    for zone in result.zones:
        assert zone.peak_c >= zone.mean_c - 1e-3


def test_band_of_the_absorbed_fraction(result: Forecast) -> None:
    assert result.band is not None
    low, mid, high = result.band.peak_c["fat"]
    assert np.all(low <= mid + 1e-6)
    assert np.all(mid <= high + 1e-6)
    assert high[20] - low[20] > 1.0
    assert mid == pytest.approx(result.peak_series_c["fat"], abs=1e-6)


def test_absorbed_power_needs_no_assumed_fraction() -> None:
    calm = forecast(arm(12.0, 5.0, PowerKind.ABSORBED))
    assert calm.band is None
    assert not any("absorbed_fraction" in a for a in calm.assumptions)


def test_json_is_complete_and_finite(result: Forecast) -> None:
    text = json.dumps(forecast_to_json(result), allow_nan=False)
    document = json.loads(text)
    assert {
        "field",
        "heat",
        "evenness",
        "uncertainty",
        "numerics",
        "sources",
        "cautions",
        "assumptions",
    } <= set(document)
    assert set(document["field"]["admittance_s"]) == {"re", "im"}
    assert sum(document["field"]["share"].values()) == pytest.approx(1.0, abs=1e-4)
    assert len(document["heat"]["zones"]) == 36
    assert math.isfinite(document["heat"]["peak_c"]["fat"])
    assert any("manual" in c for c in document["cautions"])
    # Shields et al., Phys Med Biol 49:2999 (2004), label P: the operator 2 m, others 0.5 m more
    assert any("2 m for the operator and 2.5 m for others (Shields et al." in c for c in document["cautions"])


def test_no_words_that_promise(result: Forecast) -> None:
    """Nothing is called safe, no loss of fat is claimed."""
    text = json.dumps(forecast_to_json(result)).lower()
    assert "safe" not in text
    assert "fat loss" not in text


def test_it_can_be_cancelled() -> None:
    def stop(step: str, share: float) -> None:
        if step == "heat" and share > 0.1:
            raise Cancelled

    with pytest.raises(Cancelled):
        forecast(arm(), progress=stop)


def test_what_the_numbers_do_not_hold_for_is_said_first() -> None:
    """Blood flow laws are meant for up to 60 °C (`evenfield.tissue.flow`); the grid has an error target."""
    cool, hot = np.array([37.0, 59.9]), np.array([37.0, 229.0])
    assert cautions_of({"skin": cool, "fat": cool}, 0.0199, 0.02) == CAUTIONS
    first, *others = cautions_of({"skin": cool, "fat": hot}, 0.0199, 0.02)
    assert tuple(others) == CAUTIONS
    assert "229 °C" in first
    assert "60 °C" in first
    first, *others = cautions_of({"skin": cool, "fat": cool}, 0.025, 0.02)
    assert tuple(others) == CAUTIONS
    assert "2.5 %, above the 2 % aimed at" in first
