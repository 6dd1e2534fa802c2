"""The report on a forecast: one or two pages, set from `forecast.typ` beside this file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from math import degrees
from pathlib import Path
from typing import Any

from evenfield import __version__
from evenfield.forecast import DECIDES, Forecast, ZoneResult
from evenfield.report.figures import Picture, pictures
from evenfield.report.typeset import typeset
from evenfield.report.wording import (
    assumption_lines,
    body_lines,
    fat_kind_words,
    findings,
    minute_text,
    setting_line,
    spot_list,
    tissue_line,
)

ALL_ZONES_TO = 2
"""Panels up to which every zone has its row; beyond, those that stand out, so that two pages hold it all."""
STAND_OUT = (
    " Of each panel's nine zones those with its hottest skin and hottest fat and the coolest fat; all stand "
    "in the forecast's JSON."
)
_ZONE_COLUMNS = (
    "mean °C",
    "hottest °C",
    "CEM43 min",
    "mean °C",
    "hottest °C",
    "in band min",
    "CEM43 min",
)


def write_report(f: Forecast, path: Path) -> None:
    """Write the report of a forecast to a PDF file."""
    drawn = pictures(f)
    path.write_bytes(typeset("forecast.typ", report_data(f, drawn), drawn))


def report_data(f: Forecast, drawn: tuple[Picture, ...]) -> dict[str, Any]:
    """Everything the template shows, as text."""
    return {
        "version": __version__,
        "title": f.case.title,
        "minute": minute_text(f.minutes[f.picture]),
        "setting": setting_line(f.case),
        "body": " · ".join(body_lines(f.case)),
        "tissues": tissue_line(f.case),
        "decides": DECIDES,
        "findings": [asdict(x) for x in findings(f)],
        "spots": [{"tissue": tissue, "words": spot_list(f, tissue)} for tissue in ("skin", "fat")],
        "pictures": [{"name": p.name, "file": f"{p.name}.svg", "words": p.words} for p in drawn],
        "columns": _ZONE_COLUMNS,
        "zones": _zone_rows(f),
        "zones_note": _zones_note(f),
        "placement_columns": (
            "Panel",
            "Shape",
            "Width × length",
            "Angle",
            "Level",
            "Gap",
            "Least gap",
            "Tilt across",
            "Tilt along",
            "Drive",
        ),
        "placement": _placement(f),
        "sureness": sureness(f),
        "assumptions": assumption_lines(f),
        "labels": "Labels: P confirmed in print, M from memory, C computed, A an assumption of ours.",
        "cautions": f.cautions,
        "sources": f.sources,
    }


def sureness(f: Forecast) -> list[str]:
    """What is estimated here and how sure each part is."""
    lines = [
        f"Temperatures of an idealised body built from the measurements given, with fat of the kind "
        f"“{fat_kind_words(f.case)}”. The other kind heats differently: name the one that is meant.",
        f"Grid: error of the heating in fat estimated, cautiously, at {100 * f.error_estimate:.1f} %.",
    ]
    if f.band is None:
        lines.append(
            "Absorbed power was given, so no range is shown for it; it is as sure as its measurement."
        )
    else:
        low, mid, high = f.band.fraction
        lines.append(
            f"How much of the set power the tissue takes up is not known: {mid:g} is assumed, {low:g} to "
            f"{high:g} is shown as a range. Nothing else is varied in it: blood flow and tissue values "
            "add to it."
        )
    return lines


def _zones_note(f: Forecast) -> str:
    low, high = f.case.session.band_c
    return (
        f"Mean when the power ends (skin at its surface, fat through its depth); hottest point at any time; "
        f"minutes with the zone's mean of fat within {low:g}–{high:g} °C; CEM43 of the worst point, in "
        "equivalent minutes at 43 °C." + (STAND_OUT if len(f.case.panels) > ALL_ZONES_TO else "")
    )


def _zone_rows(f: Forecast) -> list[dict[str, Any]]:
    """One row per zone with its skin and fat parts side by side."""
    pairs: dict[tuple[str, str], dict[str, ZoneResult]] = {}
    for z in f.zones:
        pairs.setdefault((z.zone.panel, z.zone.name), {})[z.zone.tissue] = z
    rows: list[dict[str, Any]] = []
    last = ""
    for (panel, name), parts in pairs.items():
        if len(f.case.panels) > ALL_ZONES_TO and not _stands_out(panel, parts, f.zones):
            continue
        skin, fat = parts["skin"], parts["fat"]
        cells = [panel if panel != last else "", name]
        cells += [f"{skin.mean_c:.1f}", f"{skin.peak_c:.1f}", dose_text(skin.cem43)]
        cells += [
            f"{fat.mean_c:.1f}",
            f"{fat.peak_c:.1f}",
            f"{fat.minutes_in_band:.1f}",
            dose_text(fat.cem43),
        ]
        rows.append({"first": panel != last and bool(last), "cells": cells})
        last = panel
    return rows


def _stands_out(panel: str, parts: dict[str, ZoneResult], zones: Sequence[ZoneResult]) -> bool:
    """Whether a zone has its panel's hottest skin or fat, or the coolest fat."""

    def of(tissue: str) -> list[ZoneResult]:
        return [z for z in zones if (z.zone.panel, z.zone.tissue) == (panel, tissue)]

    return (
        parts["skin"].peak_c >= max(z.peak_c for z in of("skin"))
        or parts["fat"].peak_c >= max(z.peak_c for z in of("fat"))
        or parts["fat"].mean_c <= min(z.mean_c for z in of("fat"))
    )


def dose_text(minutes: float) -> str:
    """CEM43 with as many decimals as mean something; what is below 0.01 min as such."""
    if minutes < 0.01:
        return "< 0.01"
    return f"{minutes:.{0 if minutes >= 9.95 else 1 if minutes >= 0.995 else 2}f}"


def _placement(f: Forecast) -> list[list[str]]:
    rows = []
    for placed in f.case.placed:
        p = placed.panel
        rows.append(
            [
                p.name,
                p.shape.value,
                f"{1e3 * p.width_m:.0f} × {1e3 * p.length_m:.0f} mm",
                f"{degrees(p.angle_rad):.0f}°",
                f"{1e3 * p.level_m:.0f} mm",
                f"{1e3 * p.gap_m:.1f} mm",
                f"{1e3 * placed.nearest_gap_m:.1f} mm",
                f"{degrees(p.tilt_across_rad):.1f}°",
                f"{degrees(p.tilt_along_rad):.1f}°",
                f"{p.drive:+g}",
            ]
        )
    return rows
