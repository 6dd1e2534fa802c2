"""The one-page "what to watch" for one client, set from `placement.typ` beside this file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from evenfield import __version__
from evenfield.case import Case
from evenfield.forecast import CAUTIONS, DECIDES, expected_tuning
from evenfield.report.placement import placement_picture
from evenfield.report.typeset import typeset
from evenfield.report.wording import basis_lines, placement_lines, setting_line
from evenfield.tolerance import LOOK_MINUTES, ToleranceTable, what_to_watch
from evenfield.tolerance.words import until_band

HOW = (
    "Each error alone, at the same absorbed power as the plan, for its first 30 min (its last power goes on "
    "where it ends earlier). Changes are computed on the grid nested in the forecast's own, where the "
    "plan's own temperatures and evenness stand a little off the forecast's (by up to a kelvin at a hot "
    "edge): go by the changes. Blood flow and tissue values are not varied here. Lies flatter "
    "or rounder: width over depth 10 % more or less than planned."
)


def signs(case: Case) -> str:
    """Which way + and - go."""
    way = "left, back and right" if case.region.measurements.kind.trunk else "inner, back and outer"
    return (
        "Which way: gap + is further off. Tilt along - lifts the lower edge, so that the upper one is "
        f"nearer; + lifts the upper. Around goes from the front to {way}: tilt across + lifts the panel's "
        "edge on that side, so that the other one is nearer. Shift along + is upwards, around + that way."
    )


def write_placement_page(table: ToleranceTable, path: Path) -> None:
    """Write the page as PDF/A-2b and PDF/UA-1."""
    picture = placement_picture(table)
    path.write_bytes(typeset("placement.typ", page_data(table), (picture,)))


def page_data(table: ToleranceTable) -> dict[str, Any]:
    """Everything the template shows, as text."""
    picture = placement_picture(table)
    return {
        "version": __version__,
        "title": table.case.title,
        "setting": setting_line(table.case),
        "basis": " ".join(basis_lines(table.case)),
        "decides": DECIDES,
        "placement": placement_lines(table.case),
        "plan": plan_rows(table),
        "watch": what_to_watch(table),
        "picture": {"file": f"{picture.name}.svg", "words": picture.words},
        "how": f"{signs(table.case)} {HOW}",
        "cautions": CAUTIONS,
    }


def plan_rows(table: ToleranceTable) -> list[tuple[str, str, str]]:
    """What, value and what must be known to read it, of the plan itself."""
    base, case = table.base, table.case
    first, last = LOOK_MINUTES
    tuning = expected_tuning(base.admittance_s)
    low, high = case.session.band_c

    def both(series: Any) -> str:
        return f"{base.at(series, first):.1f} and {base.at(series, last):.1f} °C"

    after = f"after {first:g} and {last:g} min"
    return [
        ("Hottest skin", both(base.skin_c), f"{after}; at the {base.where}"),
        ("Hottest fat", both(base.fat_c), after),
        (f"Mean of fat at {low:g} °C", until_band(base.minutes_to_band), f"band {low:g}–{high:g} °C"),
        ("Evenness", f"{base.evenness:.2f}", "of fat heating under the panels; 1 is all alike"),
        ("Tuning to expect", f"{tuning.percent:.0f} %", tuning.caution),
    ]
