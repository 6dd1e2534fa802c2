"""The forecast as the stable JSON document described in docs/forecast_json.md."""

from __future__ import annotations

from typing import Any

import numpy as np

from evenfield.case import Case, PowerKind, assumptions, file_values, tissue_assumptions
from evenfield.forecast.result import Forecast
from evenfield.tissue import load_tissue_set


def _round(value: float, digits: int) -> float:
    return round(float(value), digits)


def asked_to_json(case: Case) -> dict[str, Any]:
    """What was asked and what is assumed, the same in the document of every command."""
    session, open_keys = case.session, {a.key for a in assumptions(case)}
    share = session.absorbed_fraction
    given = session.power_kind is PowerKind.ABSORBED
    tissues = load_tissue_set(case.tissue_set)
    return {
        "title": case.title,
        "case": _plain(file_values(case)),
        "fat_kind": str(case.fat_kind),
        "tissue_set": {"name": tissues.name, "title": tissues.title},
        "absorbed_fraction": {
            "low": 1.0 if given else share.low,
            "mid": 1.0 if given else share.mid,
            "high": 1.0 if given else share.high,
            "assumed": "session.absorbed_fraction" in open_keys,
        },
        "assumptions": [str(a) for a in (*assumptions(case), *tissue_assumptions(case))],
    }


def forecast_to_json(f: Forecast) -> dict[str, Any]:
    """Plain data ready for `json.dumps`. Temperatures °C, times min, everything else SI."""
    series = []
    for n, minute in enumerate(f.minutes):
        series.append(
            {
                "minute": _round(minute, 4),
                "set_or_absorbed_w": f.case.session.power.at(float(f.history.time_s[n])),
                **{f"{t}_peak_c": _round(s[n], 3) for t, s in f.peak_series_c.items()},
                "zone_mean_c": [_round(z.mean_series_c[n], 3) for z in f.zones],
            }
        )
    document: dict[str, Any] = {
        **asked_to_json(f.case),
        "field": {
            "admittance_s": {"re": f.field.admittance_s.real, "im": f.field.admittance_s.imag},
            "share": {k: _round(v, 6) for k, v in f.field.share.items()},
            "energy_closure": f.field.energy_closure,
            "fat_sar_error_estimate": f.error_estimate,
            "surroundings_return": f.field.surroundings_return,
        },
        "heat": {
            "peak_c": {k: _round(v, 3) for k, v in f.peak_c.items()},
            "balance_closure": f.history.balance.closure,
            "zones": [
                {
                    "panel": z.zone.panel,
                    "zone": z.zone.name,
                    "tissue": z.zone.tissue,
                    "mean_c": _round(z.mean_c, 3),
                    "peak_c": _round(z.peak_c, 3),
                    "minutes_in_band": _round(z.minutes_in_band, 3),
                    "cem43": _round(z.cem43, 4),
                    "burn": z.burn,
                    "burn_cautious": z.burn_cautious,
                }
                for z in f.zones
            ],
            "series": series,
            "hot_spots": [
                {"temperature_c": _round(h.temperature_c, 3), "tissue": h.tissue, "place": h.place}
                for h in f.hottest
            ],
            "picture_minute": _round(f.minutes[f.picture], 4),
        },
        "band_c": list(f.case.session.band_c),
        "evenness": _round(f.evenness.ratio, 4),
        "tuning": f.tuning.to_json(),
        "uncertainty": _uncertainty(f),
        "numerics": {
            "unknowns": f.field.numerics.unknowns,
            "iterations": f.field.numerics.iterations,
            "residual": f.field.numerics.history[-1],
            "time_steps": f.history.steps,
            "seconds": _round(sum(f.seconds.values()), 3),
            "seconds_by_step": {k: _round(v, 3) for k, v in f.seconds.items()},
        },
        "sources": list(f.sources),
        "cautions": list(f.cautions),
    }
    return document


def _uncertainty(f: Forecast) -> dict[str, Any]:
    """5, 50 and 95 % of the results over what is varied; the absorbed fraction's low, mid, high are its
    quantiles."""
    if f.band is None:
        return {"varied": [], "note": "absorbed power was given, so no absorbed fraction was assumed"}
    names = ("5", "50", "95")
    return {
        "varied": ["absorbed_fraction"],
        "absorbed_fraction": dict(zip(names, f.band.fraction, strict=True)),
        "peak_c": {
            t: {n: _round(v, 3) for n, v in zip(names, s.max(axis=1), strict=True)}
            for t, s in f.band.peak_c.items()
        },
        "peak_series_c": {
            t: {n: [_round(x, 3) for x in v] for n, v in zip(names, s, strict=True)}
            for t, s in f.band.peak_c.items()
        },
        "zone_mean_c": [
            {n: [_round(x, 3) for x in f.band.zone_mean_c[q, z]] for q, n in enumerate(names)}
            for z in range(len(f.zones))
        ],
    }


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, bool | int | float | str) or value is None:
        return value
    return str(value)
