"""What can be computed for a plan: from a case to files in a folder and a short result as plain data."""

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from evenfield.case import Case, case_to_toml

if TYPE_CHECKING:
    from evenfield.tolerance.advised import Option

Progress = Callable[[str, float], None]
Task = Callable[[Case, dict[str, Any], Path, Progress], dict[str, Any]]
SHOWN = ("section", "maps", "in_time", "zones")
"""Pictures of the forecast that the page shows."""


def make_forecast(case: Case, asked: dict[str, Any], folder: Path, progress: Progress) -> dict[str, Any]:
    """The forecast with its pictures, its surface for the view in space, and the report.

    `asked`: the device's name and its own electrical profile, if it has one.
    """
    from evenfield.clinic.planning.surface import surface_of
    from evenfield.clinic.planning.zone_picture import zone_picture
    from evenfield.field.device import read_device_profile
    from evenfield.forecast import expected_tuning, forecast, forecast_to_json
    from evenfield.report import findings, pictures, write_report
    from evenfield.report.figures import save_picture
    from evenfield.report.forecast_page import dose_text, report_data

    f = forecast(case, progress=progress)
    profile = read_device_profile(asked["profile"], asked["device"]) if asked else None
    tuning = expected_tuning(f.field.admittance_s, profile)
    drawn = (*pictures(f), zone_picture(f))
    for n, picture in enumerate(p for p in drawn if p.name in SHOWN):
        progress("figures", n / len(SHOWN))
        save_picture(picture, folder, (".svg",))
    progress("report", 0.0)
    write_report(f, folder / "report.pdf")
    told = [{"name": p.name, "file": f"{p.name}.svg", "title": p.title, "words": p.words} for p in drawn]
    shown = report_data(f, drawn) | {"tuning": tuning.to_json(), "pictures": told}
    _write(folder / "shown.json", shown)
    _write(folder / "forecast.json", forecast_to_json(f))
    _write(folder / "surface.json", surface_of(f))
    return {
        "findings": [asdict(one) for one in findings(f)],
        "peak_c": {tissue: round(value, 2) for tissue, value in f.peak_c.items()},
        "fat_cem43": dose_text(max(z.cem43 for z in f.zones if z.zone.tissue == "fat")),
        "evenness": round(f.evenness.ratio, 3),
        "tuning_percent": round(tuning.percent, 1),
    }


def make_preview(case: Case, asked: dict[str, Any], folder: Path, progress: Progress) -> dict[str, Any]:
    """What quick answers need."""
    from evenfield.tolerance import build_preview, save_preview
    from evenfield.tolerance.preview_build import SURE

    made = build_preview(case, progress=progress)
    save_preview(made, folder / "preview.npz")
    largest = [round(x, 3) for x in made.error.largest]
    return {"placements": made.error.placements, "largest": largest, "times": SURE}


def make_full(case: Case, asked: dict[str, Any], folder: Path, progress: Progress) -> dict[str, Any]:
    """One what-if solved anew."""
    from evenfield.clinic.planning.asking import what_if_of
    from evenfield.tolerance import full_answer

    progress("field", 0.0)
    return full_answer(case, what_if_of(case, asked)).to_json()


def make_placing(case: Case, asked: dict[str, Any], folder: Path, progress: Progress) -> dict[str, Any]:
    """The tolerance table with its picture and its page to print."""
    from evenfield.report import save_picture, write_placement_page
    from evenfield.report.placement import placement_picture
    from evenfield.report.placement_page import signs
    from evenfield.tolerance import tolerance_table, what_to_watch

    table = tolerance_table(case, progress=lambda share: progress("placements", share))
    progress("figures", 0.0)
    picture = placement_picture(table)
    save_picture(picture, folder, (".svg",))
    write_placement_page(table, folder / "what_to_watch.pdf")
    _write(folder / "placing.json", table.to_json())
    return {"watch": what_to_watch(table), "signs": signs(case), "picture": picture.words}


def make_sureness(case: Case, asked: dict[str, Any], folder: Path, progress: Progress) -> dict[str, Any]:
    """Some hundreds of bodies, tissues and placements that fit the case: how far results spread, and why.

    `asked`: skin_limit_c; and, for trials only, fewer members, fields and checks.
    """
    from evenfield.forecast import forecast
    from evenfield.report.figures import save
    from evenfield.report.minutes_power import draw_minutes_power
    from evenfield.report.uncertainty import draw_bands, draw_drivers
    from evenfield.tolerance.ensemble import ensemble
    from evenfield.tolerance.indices import ensemble_indices, in_words
    from evenfield.tolerance.minutes_power import minutes_power
    from evenfield.tolerance.parallel import runner
    from evenfield.tolerance.result_rows import result_rows
    from evenfield.tolerance.uncertainty_json import uncertainty_to_json

    limit = float(asked["skin_limit_c"])
    sizes = {key: int(asked[key]) for key in ("members", "design", "training", "checks") if key in asked}
    with runner(1) as work:
        anchor = forecast(case, progress=progress, with_band=False)
        made = ensemble(case, work, anchor=anchor, progress=progress, **sizes)  # type: ignore[arg-type]
        progress("drivers", 0.0)
        indices = ensemble_indices(made)
        levels = minutes_power(made, work, skin_limit_c=limit, progress=progress)
    progress("figures", 0.0)
    save(draw_bands(made, limit), folder / "bands.svg")
    save(draw_drivers(indices), folder / "drivers.svg")
    save(draw_minutes_power(levels), folder / "minutes_power.svg")
    _write(folder / "sureness.json", uncertainty_to_json(made, indices))
    error = made.error
    return {
        "members": made.members,
        "rows": [[words[0].upper() + words[1:], *cells] for words, cells in result_rows(made)],
        "skin_limit_c": limit,
        "above_limit_percent": round(100 * float(np.mean(made.results()["hottest_skin_c"] > limit))),
        "drivers": in_words(indices),
        "error_k": None if error is None else [round(float(error.hottest_skin_k[0]), 2),
                                               round(float(error.hottest_fat_k[0]), 2)],
    }  # fmt: skip


def make_advice(case: Case, asked: dict[str, Any], folder: Path, progress: Progress) -> dict[str, Any]:
    """The search for a better placement, power and course.

    `asked`: skin_limit_c, least_gap_mm; and, for trials only, fewer fields, members and checks.
    """
    from evenfield.tolerance.advice_words import power_rests_on, trades
    from evenfield.tolerance.advised import Wish
    from evenfield.tolerance.parallel import runner
    from evenfield.tolerance.search import search

    wish = Wish(skin_limit_c=float(asked["skin_limit_c"]), least_gap_mm=float(asked["least_gap_mm"]))
    sizes = {key: int(asked[key]) for key in ("design", "members", "fresh", "checks") if key in asked}
    with runner(1) as work:
        found = search(case, wish, work, progress=progress, **sizes)  # type: ignore[arg-type]
    return {
        "caution": found.caution,
        "tried": found.tried,
        "skin_limit_c": wish.skin_limit_c,
        "chance_percent": 100 * wish.chance,
        "least_gap_mm": wish.least_gap_mm,
        "trades": trades(found),
        "power_rests_on": power_rests_on(found),
        "options": [_option(one) for one in found.options],
    }


def _option(one: "Option") -> dict[str, Any]:
    from evenfield.tolerance.advice_words import power_words, told

    session = replace(one.case.session, power=one.curve)
    if session.picture_s > session.end_s or "session.picture_minute" in {a.key for a in one.case.defaults}:
        session = replace(session, picture_s=session.power.end_s)
    low, mid, high = (float(x) for x in one.minutes_in_band)
    return {
        "words": one.words,
        "placing": told(one),
        "course": power_words(one.curve),
        "chance_percent": round(100 * one.chance),
        "minutes_in_band": f"{mid:.0f} min for half of the members ({low:.0f} to {high:.0f} min from 5 to "
        f"95 %), {one.score:.1f} min on average",
        "apart": f"{float(one.apart_k[1]):.1f} K for half of the members",
        "skin": f"{float(one.skin_c[1]):.1f} °C for half of the members, 95 % below "
        f"{float(one.skin_c[2]):.1f} °C",
        "case": case_to_toml(replace(one.case, session=session)),
    }


def _write(path: Path, content: Any) -> None:
    path.write_text(json.dumps(content, ensure_ascii=False, allow_nan=False), encoding="utf-8")


TASKS: Mapping[str, Task] = {
    "forecast": make_forecast,
    "preview": make_preview,
    "full": make_full,
    "placing": make_placing,
    "sureness": make_sureness,
    "advice": make_advice,
}
