"""Between the record and the live estimate: entries to what `follow` is told, its answer to what is shown.

The only place that knows both `conduct` and `follow`; only the worker reads it, so that the server starts
without the heat model.
"""

from collections.abc import Iterable
from math import isfinite
from typing import Any

from evenfield.conduct import events as said
from evenfield.conduct import standing
from evenfield.follow import (
    ComfortSaid,
    Curves,
    FieldOff,
    FieldOn,
    HotSpotSaid,
    Input,
    Interval,
    LiveEstimate,
    PanelShift,
    PowerNow,
    SkinRead,
    TuningNow,
    ZoneOutlook,
)

TOO_HOT_SCORE = 2
"""Comfort that "too hot all over" counts as (docs/follow.md)."""


def inputs_of(events: Iterable[said.Event], now_s: float) -> list[Input]:
    """What the standing entries tell about heat, in order of time."""
    found: list[Input] = []
    for event in standing(events, now_s):
        told = _input(event)
        if told is not None:
            found.append(told)
    return found


def _input(event: said.Fact) -> Input | None:
    at_s = max(event.when_s, 0.0)
    match event:
        case said.Started() | said.Resumed():
            return FieldOn(at_s)
        case said.Paused() | said.Stopped():
            return FieldOff(at_s)
        case said.PowerSet(watts=watts):
            return PowerNow(at_s, watts)
        case said.TuningShown(percent=percent):
            return TuningNow(at_s, percent)
        case said.SkinReading(zone=zone, celsius=celsius, error_c=error):
            return SkinRead(at_s, zone, celsius) if error is None else SkinRead(at_s, zone, celsius, error)
        case said.Comfort(score=score):
            return ComfortSaid(at_s, score)
        case said.TooHotAllOver():
            return ComfortSaid(at_s, TOO_HOT_SCORE)
        case said.HotSpot(zone=zone, panel=panel):
            return HotSpotSaid(at_s, zone, panel)
        case said.PanelMoved(panel=name, by_mm=by_mm, side=side):
            return PanelShift(at_s, name, by_mm / 1e3, side.value)
        case _:
            return None


def shown(estimate: LiveEstimate) -> dict[str, Any]:
    """Plain data for the page and the record; numbers to 0.001, endless ones as null."""
    return {
        "at_s": estimate.at_s,
        "zones": [_zone(zone) for zone in estimate.zones],
        "so_far": _curves(estimate.so_far),
        "ahead": _curves(estimate.ahead),
        "minutes_to_band": _interval(estimate.minutes_to_band),
        "pause_left_s": _interval(estimate.pause_left_s) if estimate.pause_left_s else None,
        "disagreements": list(estimate.disagreements),
        "unused": list(estimate.unused),
        "learned": {name: _interval(value) for name, value in estimate.learned.items()},
    }


def _zone(zone: ZoneOutlook) -> dict[str, Any]:
    numbers = {
        name: _interval(getattr(zone, name))
        for name in (
            "skin_mean_c",
            "skin_hottest_c",
            "fat_mean_c",
            "fat_hottest_c",
            "minutes_in_band",
            "cem43_skin",
            "cem43_fat",
            "minutes_to_band",
        )
    }
    left = _interval(zone.pause_left_s) if zone.pause_left_s else None
    return {"zone": zone.zone, **numbers, "pause_left_s": left, "disagrees": zone.disagrees}


def _number(value: float) -> float | None:
    return round(float(value), 3) if isfinite(value) else None


def _interval(one: Interval) -> list[float | None]:
    """Value, low 50 %, high 50 %, low 90 %, high 90 %."""
    return [_number(value) for value in (one.value, one.low50, one.high50, one.low90, one.high90)]


def _curves(curves: Curves) -> dict[str, Any]:
    rows = {
        name: [[_number(value) for value in row] for row in getattr(curves, name)]
        for name in ("skin_mean_c", "skin_hottest_c", "fat_mean_c", "fat_hottest_c")
    }
    return {"minutes": [_number(minute) for minute in curves.minutes], **rows}
