"""One person or one visit as a ZIP archive of CSV files; what each column means is in docs/exchange.md."""

import io
import zipfile
from collections.abc import Iterator

from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.exchange.csv_text import Cell, written
from evenfield.clinic.exchange.fhir_bundle import moment
from evenfield.clinic.exchange.gathered import Gathered
from evenfield.clinic.measuring.history import Measured
from evenfield.clinic.measuring.protocols import Quantity
from evenfield.clinic.screening.models import Kind
from evenfield.clinic.visits.wording import said

MEDIA_TYPE = "application/zip"
Row = dict[str, Cell]

PEOPLE = ("code", "given_name", "family_name", "born", "other_names", "phone", "email", "note")
COURSES = (
    "course", "region", "side", "visits_planned", "spacing_days", "state", "state_reason", "aim",
    "protocol_note",
)  # fmt: skip
VISITS = (
    "course", "visit", "planned_start", "minutes", "room", "device", "staff", "state", "reason", "started_at",
    "ended_at",
)  # fmt: skip
MEASUREMENTS = (
    "code", "measured_at", "quantity", "region", "side", "level_mm", "direction", "protocol",
    "protocol_version", "reading_1", "reading_2", "reading_3", "reading_4", "reading_5", "reading_6", "unit",
    "value", "how", "agreed", "state", "measured_by",
)  # fmt: skip
SCREENING = ("at", "entry", "version", "question", "given", "outcome", "reason", "by")
SETUP = ("begun", "version", "line", "text", "done", "reason", "at", "by")
ENTRIES = ("visit", "at_s", "kept", "kind", "words", "by")
PHOTOGRAPHS = ("at", "region", "side", "view", "posture", "distance_m", "light", "note", "by")

_UNIT = {Quantity.GIRTH: ("cm", 0.01), Quantity.FAT: ("mm", 0.001), Quantity.WEIGHT: ("kg", 1.0)}
_READ_ME = """{about}
Sent from the record of {clinic}, {at} (UTC).

CSV files in UTF-8, parted by commas, decimal point, times in UTC (ISO 8601). A text that a spreadsheet would
run as a formula has an apostrophe before it. people.csv and measurements.csv can be taken in again elsewhere.
Temperatures and doses of a forecast are computed and are not in here. Photographs and the consents as signed
are in "Export everything" on the person's page.
"""


def sheets(gathered: Gathered) -> bytes:
    """The archive; an empty table has its header all the same."""
    about = f"Visit {gathered.visit.number}" if gathered.visit else "One person"
    files = {
        "people.csv": written(PEOPLE, _people(gathered)),
        "courses.csv": written(COURSES, (_course(course) for course in gathered.courses)),
        "visits.csv": written(VISITS, (_visit(visit) for visit in gathered.visits)),
        "measurements.csv": written(
            MEASUREMENTS, (_number(one, gathered) for one in reversed(gathered.numbers))
        ),
        "screening.csv": written(SCREENING, _screening(gathered)),
        "set_up.csv": written(SETUP, _setup(gathered)),
        "entries.csv": written(ENTRIES, _entries(gathered)),
        "photographs.csv": written(PHOTOGRAPHS, _photographs(gathered)),
    }
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "README.txt", _READ_ME.format(about=about, clinic=gathered.clinic, at=moment(gathered.at))
        )
        for name, content in files.items():
            archive.writestr(name, content)
    return buffer.getvalue()


def _people(gathered: Gathered) -> Iterator[Row]:
    one = gathered.person
    row: Row = {name: str(getattr(one, name) or "") for name in PEOPLE}
    yield row | {"code": one.code, "born": one.born.isoformat() if one.born else ""}


def _course(course: Course) -> Row:
    return {"course": course.pk, **{name: getattr(course, name) for name in COURSES[1:]}}


def _visit(visit: Visit) -> Row:
    return {
        "course": visit.course_id,
        "visit": visit.number,
        "planned_start": moment(visit.planned_start),
        "minutes": visit.minutes,
        "room": str(visit.room or ""),
        "device": str(visit.device or ""),
        "staff": str(visit.staff or ""),
        "state": visit.state,
        "reason": visit.reason,
        "started_at": moment(visit.started_at) if visit.started_at else "",
        "ended_at": moment(visit.ended_at) if visit.ended_at else "",
    }


def _number(one: Measured, gathered: Gathered) -> Row:
    unit, size = _UNIT[one.quantity]
    readings = {f"reading_{place + 1}": round(each / size, 3) for place, each in enumerate(one.readings)}
    return {
        "code": gathered.person.code,
        "measured_at": moment(one.at),
        "quantity": one.quantity.value,
        "region": one.region.value if one.region else "",
        "side": one.side,
        "level_mm": one.level_mm,
        "direction": one.direction,
        "protocol": one.protocol.id,
        "protocol_version": one.protocol.version,
        **readings,
        "unit": unit,
        "value": round(one.value / size, 3),
        "how": one.how,
        "agreed": one.agreed,
        "state": "withdrawn" if one.withdrawn else "corrected" if one.correction else "",
        "measured_by": one.by,
    }


def _screening(gathered: Gathered) -> Iterator[Row]:
    for one in gathered.screening:
        content = one.content
        row: Row = {
            "at": moment(one.at),
            "entry": one.words,
            "version": str(content.get("version", "")),
            "by": one.actor,
        }
        if one.kind == Kind.ANSWERS:
            for asked in content["questions"]:
                yield row | {"question": asked["ask"], "given": asked["given"]}
            reasons = "; ".join(finding["reason"] for finding in content["findings"])
            yield row | {"outcome": one.outcome_words, "reason": reasons}
        else:
            yield row | {"outcome": one.outcome_words, "reason": str(content.get("reason", ""))}


def _setup(gathered: Gathered) -> Iterator[Row]:
    for run in gathered.setups:
        for tick in run.ticks:
            said = tick.content
            yield {
                "begun": moment(run.begun.at),
                "version": run.begun.content["version"],
                "line": said["line"],
                "text": said["text"],
                "done": bool(said["done"]),
                "reason": said["reason"],
                "at": moment(tick.at),
                "by": tick.actor,
            }


def _entries(gathered: Gathered) -> Iterator[Row]:
    for visit in gathered.visits:
        for row in gathered.entries.get(visit.pk, ()):
            at_s = row.event.at_s if row.event else row.content.get("at_s")
            yield {
                "visit": visit.number,
                "at_s": at_s,
                "kept": moment(row.at),
                "kind": row.kind,
                "words": said(row),
                "by": row.actor,
            }


def _photographs(gathered: Gathered) -> Iterator[Row]:
    for one in gathered.photographs:
        said: Row = {name: getattr(one, name) for name in PHOTOGRAPHS if name not in ("at", "region")}
        yield said | {"at": moment(one.at), "region": one.region.value}
