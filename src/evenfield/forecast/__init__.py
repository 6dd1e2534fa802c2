"""The engine's front door: a checked `Case` in, a `Forecast` out. No I/O, no clock, no global state."""

from evenfield.forecast.engine import CAUTIONS, DECIDES, Cancelled, forecast
from evenfield.forecast.result import AssumptionBand, Forecast, Hottest, ZoneResult
from evenfield.forecast.to_json import asked_to_json, forecast_to_json
from evenfield.forecast.tuning import ExpectedTuning, expected_tuning

__all__ = [
    "CAUTIONS",
    "DECIDES",
    "AssumptionBand",
    "Cancelled",
    "ExpectedTuning",
    "Forecast",
    "Hottest",
    "ZoneResult",
    "asked_to_json",
    "expected_tuning",
    "forecast",
    "forecast_to_json",
]
