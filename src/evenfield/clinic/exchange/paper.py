"""One person or one visit on paper: a PDF/A-2b and PDF/UA-1 file, set by typst."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format

from evenfield import __version__
from evenfield.clinic.courses.models import Visit
from evenfield.clinic.exchange.gathered import Gathered
from evenfield.clinic.measuring.history import Measured
from evenfield.clinic.measuring.plan import place_words
from evenfield.clinic.measuring.units import unit_of
from evenfield.clinic.screening.consent import sheet
from evenfield.clinic.screening.models import Kind, ScreeningEntry
from evenfield.clinic.visits.wording import clock, said

MEDIA_TYPE = "application/pdf"
DECIDES = (
    "evenfield advises and records. It controls no device and is no measurement. The device's manual, local "
    "rules and the supervising licensed clinician come first."
)
NO_CLAIM = (
    "Girths and fat thickness change with posture, breathing, hydration and who measures. A difference below "
    "the measuring error says nothing, and no effect follows from a temperature or a dose."
)


def paper(gathered: Gathered, *, length_unit: str, demonstration: bool) -> bytes:
    """The PDF; lengths in the clinic's unit."""
    from evenfield.report.typeset import typeset

    return typeset(
        "paper.typ", _content(gathered, length_unit, demonstration), (), "evenfield.clinic.exchange"
    )


def _content(gathered: Gathered, length_unit: str, demonstration: bool) -> dict[str, Any]:
    one = gathered.person
    visit = gathered.visit
    what = f"Visit {visit.number} of {_when(visit.planned_start)}" if visit else "Record of one person"
    contact = ", ".join(part for part in (one.phone, one.email) if part)
    facts = [
        ["Name", one.full_name],
        ["Code", ", ".join(each.shown_code for each in gathered.people)],
        ["Date of birth", date_format(one.born) if one.born else "not known"],
        ["Contact", contact],
        ["Note", one.note],
    ]
    return {
        "version": __version__,
        "title": what,
        "clinic": gathered.clinic,
        "sent": f"As it stood on {_when(gathered.at)} ({timezone.get_current_timezone_name()})",
        "demonstration": "Demonstration: everyone and everything here is invented." if demonstration else "",
        "decides": DECIDES,
        "facts": [fact for fact in facts if fact[1]],
        "tables": [
            _table(
                "Courses",
                {"Begun": 0, "Region": 2, "Visits": 1, "Days apart": 1, "State": 3},
                _courses(gathered),
            ),
            _table(
                "Visits",
                {"When": 0, "Region": 1, "Where and with what": 2, "Who": 1, "State": 2},
                _visits(gathered),
            ),
            _table(
                "Questions, decisions, consents",
                {"When": 0, "What": 0, "Outcome": 0, "Why": 1},
                _screening(gathered),
            ),
            _table(
                "Set-up before the visit",
                {"When": 0, "Lines done": 0, "Skipped, and why": 1},
                _setups(gathered),
            ),
            _table(
                "Measurements",
                {"When": 0, "What": 1, "Value": 0, "From": 0, "Protocol": 1},
                _numbers(gathered.numbers, length_unit),
                NO_CLAIM,
            ),
            *_visit_tables(gathered),
            _table("Photographs", {"When": 0, "Pose": 2, "Distance": 0, "Light": 1}, _photographs(gathered)),
        ],
        "cautions": list(sheet().call),
        "cautions_heading": "When to call",
        "cautions_note": sheet().note,
    }


def _table(
    heading: str, columns: Mapping[str, int], rows: Iterable[list[str]], note: str = ""
) -> dict[str, Any]:
    """A table; `columns` gives each column's share of the width, 0 as much as it needs."""
    widths = list(columns.values())
    return {"heading": heading, "columns": list(columns), "widths": widths, "rows": list(rows), "note": note}


def _when(at: datetime) -> str:
    return date_format(timezone.localtime(at), "SHORT_DATETIME_FORMAT")


def _courses(gathered: Gathered) -> list[list[str]]:
    return [
        [
            date_format(timezone.localtime(course.created), "SHORT_DATE_FORMAT"),
            course.region_words,
            str(course.visits_planned),
            str(course.spacing_days),
            " – ".join(part for part in (course.get_state_display(), course.state_reason) if part),
        ]
        for course in gathered.courses
    ]


def _visits(gathered: Gathered) -> list[list[str]]:
    return [
        [
            _visit_time(visit),
            visit.course.region_words,
            ", ".join(str(part) for part in (visit.room, visit.device) if part),
            str(visit.staff or ""),
            " – ".join(part for part in (visit.get_state_display(), visit.reason) if part),
        ]
        for visit in gathered.visits
    ]


def _visit_time(visit: Visit) -> str:
    if visit.started_at is None:
        return f"{_when(visit.planned_start)}, {visit.minutes} min planned"
    end = date_format(timezone.localtime(visit.ended_at), "TIME_FORMAT") if visit.ended_at else "running"
    return f"{_when(visit.started_at)} to {end}"


def _screening(gathered: Gathered) -> list[list[str]]:
    return [
        [_when(one.at), one.words.capitalize(), one.outcome_words, _why(one)] for one in gathered.screening
    ]


def _why(one: ScreeningEntry) -> str:
    content = one.content
    if one.kind == Kind.ANSWERS:
        return "; ".join(f"{finding['ask']} {finding['given']}" for finding in content["findings"])
    if one.kind == Kind.CONSENT:
        return f"text version {content['version']}, signed by {content['name']}"
    return str(content.get("reason", ""))


def _setups(gathered: Gathered) -> list[list[str]]:
    rows = []
    for run in gathered.setups:
        last = {tick.content["line"]: tick.content for tick in run.ticks}
        done = sum(bool(said["done"]) for said in last.values())
        skipped = [f"{said['text']}: {said['reason']}" for said in last.values() if not said["done"]]
        rows.append([_when(run.begun.at), str(done), "; ".join(skipped)])
    return rows


def _numbers(numbers: Iterable[Measured], length_unit: str) -> list[list[str]]:
    rows = []
    for one in numbers:
        unit = unit_of(one.quantity, length_unit)
        where = place_words(one.region, one.side)
        marks = "withdrawn" if one.withdrawn else "corrected" if one.correction else ""
        how = one.how if one.agreed else f"{one.how}, did not agree"
        rows.append(
            [
                _when(one.at),
                f"{where.capitalize()}: {one.words(length_unit)}" if where else one.words(length_unit),
                f"{unit.show(one.value)}{f' ({marks})' if marks else ''}",
                how,
                f"{one.protocol.name}, version {one.protocol.version}",
            ]
        )
    return rows


def _visit_tables(gathered: Gathered) -> Iterator[dict[str, Any]]:
    """What was entered in each visit, by minutes and seconds from its beginning."""
    for visit in gathered.visits:
        rows = []
        for row in gathered.entries.get(visit.pk, ()):
            at_s = row.event.at_s if row.event else row.content.get("at_s")
            rows.append([clock(at_s), said(row), row.actor])
        heading = f"During visit {visit.number} of {_when(visit.started_at or visit.planned_start)}"
        columns = {"When (min:s)": 0, "What": 1, "Who": 0}
        yield _table(f"{heading}, {visit.course.region_words}", columns, rows)


def _photographs(gathered: Gathered) -> list[list[str]]:
    return [[_when(one.at), one.words, one.distance_words, one.light] for one in gathered.photographs]
