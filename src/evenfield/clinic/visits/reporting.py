"""From a visit's record to its picture and report; values and words only, drawn by `evenfield.report`."""

import threading
from typing import TYPE_CHECKING, Any

from django.utils.formats import date_format
from django.utils.timezone import localtime

from evenfield.clinic.visits.running import Running
from evenfield.clinic.visits.summary import closing, reported, summary, unwanted
from evenfield.clinic.visits.telling import entry
from evenfield.clinic.visits.wording import clock
from evenfield.conduct import events as said
from evenfield.conduct.adverse import default_adverse_events

if TYPE_CHECKING:
    from evenfield.report.visit_page import VisitPicture, VisitSheet

_drawing = threading.Lock()  # matplotlib's settings belong to the whole process
_LETTERS = {said.HotSpot: "H", said.TooHotAllOver: "A", said.PanelMoved: "M"}
CAUTIONS = [
    "This report is a record and an estimate. It is no measurement of temperature inside the body, and no "
    "judgement of anyone's skin or health.",
    "Temperatures follow from a model of an idealised body, from what was entered, and from readings of the "
    "skin's surface. The ranges hold only as far as the model's assumptions do.",
    "A missing report of warmth or pain proves nothing.",
    "Temperature and dose say nothing about a loss of fat.",
]
_LEARNED = {
    "absorbed_share": "Share of the set power absorbed",
    "fat_flow": "Blood flow in fat, against the plan",
    "muscle_flow": "Blood flow in muscle, against the plan",
    "skin_flow": "Blood flow in skin, against the plan",
    "exchange": "Heat given off at the skin, against the plan",
    "thermometer_k": "Offset of the thermometer, °C",
}


def estimate_of(run: Running) -> dict[str, Any] | None:
    """The estimate kept when the visit was closed."""
    row = closing(run)
    found: dict[str, Any] | None = row.content.get("estimate") if row else None
    return found


def picture_of(run: Running) -> "VisitPicture":
    """What the picture shows."""
    from evenfield.report.visit_page import CurveInTime, VisitPicture

    told, numbers = estimate_of(run), summary(run)
    past = told["so_far"] if told else None
    return VisitPicture(
        end_minute=run.now_s / 60.0,
        power=[(step.at_s / 60.0, step.watts) for step in numbers.power],
        fat=CurveInTime(past["minutes"], past["fat_mean_c"]) if past else None,
        skin=CurveInTime(past["minutes"], past["skin_mean_c"]) if past else None,
        readings=[(one.when_s / 60.0, one.celsius) for one in numbers.readings],
        marks=[(one.when_s / 60.0, _LETTERS[type(one)]) for one in numbers.facts if type(one) in _LETTERS],
        band_c=run.plan.band_c,
    )


def picture(run: Running) -> bytes:
    """The picture as SVG."""
    from evenfield.report.visit_page import visit_svg

    with _drawing:
        return visit_svg(picture_of(run))


def pdf(run: Running, clinic: str) -> bytes:
    """The report as PDF."""
    from evenfield.report.visit_page import visit_pdf

    with _drawing:
        return visit_pdf(sheet_of(run, clinic), picture_of(run))


def page_lines(run: Running) -> list[dict[str, Any]]:
    """Every entry in order of time, in words."""
    instead = {row.content["event"]["of"]: row for row in run.rows if row.kind == "correction"}
    lines = []
    for row in run.rows:
        line = entry(row)
        if row.id in instead:
            how = "corrected" if instead[row.id].content["event"].get("replacement") else "taken back"
            line["mark"] = "; ".join(one for one in (f"{how} later", line["mark"]) if one)
        lines.append(line | {"clock": clock(line["at_s"])})
    return sorted(lines, key=lambda one: (one["at_s"] is None, one["at_s"] or 0.0, one["number"]))


def sheet_of(run: Running, clinic: str) -> "VisitSheet":
    """What the report says."""
    from evenfield.forecast import DECIDES
    from evenfield.report.visit_page import VisitSheet

    visit, told = run.visit, estimate_of(run)
    assert visit.started_at
    begun = date_format(localtime(visit.started_at), "DATETIME_FORMAT")
    where = [f"begun {begun}", str(visit.room or ""), str(visit.device or "")]
    return VisitSheet(
        title=f"{visit.person.kept.full_name}: {visit.course.region_words}, visit {visit.number}",
        setting=" · ".join(one for one in where if one),
        clinic=clinic,
        numbers=summary(run).lines,
        seen=_seen(run),
        unwanted=[
            {
                name: str(row.content.get(name) or "–")
                for name in ("name", "meaning", "words", "began", "done")
            }
            | {
                "grade": str(row.content["grade"]),
                "scale": f"{row.content['scale']} {row.content['scale_version']}",
                "told": reported(run, row) or "not yet entered",
                "steps": row.content.get("steps") or "nothing written for this grade",
            }
            for row in unwanted(run)
        ],
        zone_columns=[
            "Zone",
            "Skin mean °C",
            "Skin hottest °C",
            "Fat mean °C",
            "Fat hottest °C",
            "In band min",
        ],
        zones=[_zone(zone) for zone in told["zones"]] if told else [],
        learned=[*_doses(told), *((_LEARNED[name], _range(row, 2)) for name, row in told["learned"].items())]
        if told
        else [],
        entries=[_entry(line) for line in page_lines(run)],
        sureness=_sureness(run, told),
        cautions=[*CAUTIONS, DECIDES],
    )


def _seen(run: Running) -> list[tuple[str, str]]:
    row = closing(run)
    if row is None:
        return [("Closed", "not yet")]
    said_at_end = row.content
    redness = default_adverse_events().redness.steps[said_at_end["redness"]]
    found = [("Redness", f"{said_at_end['redness']} of 4: {redness}")]
    found.append(("Blistered or broken", "yes" if said_at_end["broken"] else "no"))
    for name, label in (
        ("skin_words", "Skin"),
        ("client_words", "The client says"),
        ("next_words", "Next time"),
    ):
        if said_at_end[name]:
            found.append((label, said_at_end[name]))
    return found


def _zone(zone: dict[str, Any]) -> list[str]:
    names = ("skin_mean_c", "skin_hottest_c", "fat_mean_c", "fat_hottest_c", "minutes_in_band")
    return [zone["zone"], *(_range(zone[name], 1) for name in names)]


def _doses(told: dict[str, Any]) -> list[tuple[str, str]]:
    """The largest thermal dose in each tissue, with its zone."""
    found = []
    for tissue in ("fat", "skin"):
        most = max(told["zones"], key=lambda zone: zone[f"cem43_{tissue}"][0] or 0.0, default=None)
        if most:
            dose = _range(most[f"cem43_{tissue}"], 2)
            found.append((f"Most CEM43 in {tissue}, min", f"{dose} in {most['zone']}"))
    return found


def _range(row: list[float | None], places: int) -> str:
    value, _low50, _high50, low, high = ("–" if one is None else f"{one:.{places}f}" for one in row)
    return f"{value} ({low}–{high})"


def _entry(line: dict[str, Any]) -> list[str]:
    marks = [
        mark for mark in (line["mark"], "entered after closing" if line["after_closing"] else "") if mark
    ]
    return [line["clock"], line["words"] + (f" ({'; '.join(marks)})" if marks else ""), line["who"]]


def _sureness(run: Running, told: dict[str, Any] | None) -> list[str]:
    kept = (row.content["profile"] for row in run.rows if "profile" in row.content)
    begun: dict[str, Any] = next(kept, {})
    lines = [f"Rules in force: practice profile {begun.get('name')}, version {begun.get('version')}."]
    if told is None:
        why = run.plan.problem or "None was at hand when the visit was closed."
        return [*lines, f"No estimate. {why}"]
    lines += [
        "Curve and table: an ensemble of heat models corrected by the readings entered; value with the "
        "middle 50 % and 90 % of its members. How its ranges hold is in the program's documentation.",
        "Power is what the device showed; the share absorbed is assumed before the visit and estimated "
        "in it.",
        *(f"Reading and estimate disagreed: {words}." for words in told["disagreements"]),
        *(f"Not used: {words}." for words in told["unused"]),
    ]
    return lines
