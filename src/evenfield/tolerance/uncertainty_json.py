"""An ensemble as plain data: 5, 50 and 95 % of every result, what was varied, and the measured error."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.tolerance.emulator import HOTTEST_C, TISSUES
from evenfield.tolerance.ensemble import Ensemble, minutes_to_band, quantiles, zone_spreads
from evenfield.tolerance.indices import Indices, in_words
from evenfield.tolerance.minutes_power import MinutesPower

Floats = NDArray[np.float64]
NAMES = ("5", "50", "95")
DIGITS = 4


def _number(value: float) -> float | None:
    """Six significant digits; None for never."""
    return float(f"{value:.6g}") if np.isfinite(value) else None


def _three(rows: Floats) -> dict[str, float | None]:
    return {name: _number(float(v)) for name, v in zip(NAMES, rows, strict=True)}


def _series(rows: Floats) -> dict[str, list[float]]:
    return {name: [round(float(x), DIGITS) for x in v] for name, v in zip(NAMES, rows, strict=True)}


def uncertainty_to_json(e: Ensemble, indices: Mapping[str, Indices]) -> dict[str, Any]:
    """What stands under `uncertainty` in the forecast's document, and more. A time that is never reached is
    null. Temperatures °C, times min, the rest SI."""
    end = e.case.session.band_c[0]
    panels = {
        p.name: {
            "fat_mean_series_c": _series(quantiles(e.mean_c("fat", p.name))),
            "skin_mean_series_c": _series(quantiles(e.mean_c("skin", p.name))),
            "minutes_to_band": _three(quantiles(minutes_to_band(e.minutes, e.mean_c("fat", p.name), end))),
        }
        for p in e.case.panels
    }
    zones = [
        {
            "panel": zone.panel,
            "zone": zone.name,
            "tissue": zone.tissue,
            **{key: _three(value) for key, value in asdict(spread).items()},
        }
        for zone, spread in zip(e.emulator.zones, zone_spreads(e), strict=True)
    ]
    return {
        "varied": list(e.spread.keys),
        "members": e.members,
        "seed": e.seed,
        "members_beyond_model": int(np.sum(e.visit.hottest_c.max(axis=(1, 2)) >= HOTTEST_C)),
        "fields_solved": e.design,
        "moved_to_forecast": e.anchored,
        "minutes": [round(float(m), 4) for m in e.minutes],
        "results": {key: _three(quantiles(value)) for key, value in e.results().items()},
        "peak_series_c": {
            tissue: _series(quantiles(e.visit.hottest_c[:, :, n])) for n, tissue in enumerate(TISSUES)
        },
        "zone_mean_c": [_series(quantiles(e.visit.zone_mean_c[:, :, n])) for n in range(len(zones))],
        "zones": zones,
        "panels": panels,
        "drivers": {key: _indices(one) for key, one in indices.items()},
        "in_words": in_words(indices),
        "emulator_error": None if e.error is None else asdict(e.error),
        "spread": [
            {"key": u.key, "words": u.words, "text": str(u), "source": u.source, "label": str(u.label)}
            for u in e.spread.unknowns
        ],
        "seconds": {key: round(value, 3) for key, value in e.seconds.items()},
    }


def minutes_power_to_json(m: MinutesPower) -> dict[str, Any]:
    """The map of minutes against power: 5, 50 and 95 % at every power (outer list) and minute, °C."""

    def levels(rows: Floats) -> dict[str, list[list[float]]]:
        return {name: np.round(one, DIGITS).tolist() for name, one in zip(NAMES, rows, strict=True)}

    return {
        "power": "set" if m.set_power else "absorbed",
        "power_w": np.round(m.power_w, DIGITS).tolist(),
        "minutes": np.round(m.minutes, DIGITS).tolist(),
        "hottest_skin_c": levels(m.skin_c),
        "mean_fat_c": levels(m.fat_c),
        "skin_limit_c": m.skin_limit_c,
        "planned": {"power_w": m.planned[0], "minutes": m.planned[1]},
    }


def _indices(one: Indices) -> dict[str, Any]:
    return {
        "explained": round(one.explained, DIGITS),
        "families_total": {key: round(value, DIGITS) for key, value in one.families.items()},
        "unknowns": [
            {"words": name, "first": round(first, DIGITS), "total": round(total, DIGITS)}
            for name, first, total in one.ranked()
        ],
    }
