"""What was measured: over the visits, one set as it was kept, and the protocols."""

from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render

from evenfield.body import RegionKind
from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.measuring.change import Series, courses, why_not
from evenfield.clinic.measuring.chart import Chart, chart
from evenfield.clinic.measuring.history import Measured, entries, measured
from evenfield.clinic.measuring.models import Kind, MeasureEntry
from evenfield.clinic.measuring.plan import key_in_words
from evenfield.clinic.measuring.protocols import Protocol, ProtocolError, present_protocols
from evenfield.clinic.measuring.units import TypedUnit, unit_of
from evenfield.clinic.people.views import present_person


@dataclass(frozen=True)
class SeriesRow:
    """One quantity over the visits, as shown."""

    words: str
    course: Series
    first: str
    last: str
    difference: str
    smallest: str
    others: bool
    chart: Chart | None


@dataclass(frozen=True)
class ProtocolBlock:
    """All quantities of one region and side by one protocol."""

    where: str
    protocol: Protocol
    rows: tuple[SeriesRow, ...]
    not_mixed: tuple[str, ...]


@requires("measuring.view")
def measurements(request: StaffRequest, code: str) -> HttpResponse:
    """Every quantity over the visits, each protocol for itself, and the sets."""
    one = present_person(code)
    trail.record(Action.READ, kind="measuring.measureentry", subject_id=one.pk)
    rows = entries(one)
    numbers = [held for held in measured(rows) if not held.withdrawn]
    context = {
        "person": one,
        "blocks": _blocks(numbers, request.clinic.length_unit),
        "sets": [(row, _about(row)) for row in rows if row.kind == Kind.SET],
    }
    return render(request, "measuring/measurements.html", context)


@requires("measuring.view")
def kept(request: StaffRequest, code: str, number: int) -> HttpResponse:
    """One set as it was kept, with corrections made since."""
    one = present_person(code)
    rows = entries(one)
    row = next((row for row in rows if row.number == number and row.kind == Kind.SET), None)
    if row is None:
        raise Http404
    trail.record(Action.READ, kind="measuring.measureentry", object_id=number, subject_id=one.pk)
    unit_word = request.clinic.length_unit
    stands = {held.key: held for held in measured(rows) if held.entry == number}
    kept_values = {value["key"]: value for value in row.content["values"]}
    corrections = [
        (correction, correction.content)
        for correction in reversed(rows)
        if correction.kind == Kind.CORRECTION and correction.content["about"] == number
    ]
    lines = [
        {
            "words": held.words(unit_word),
            "key": key,
            "held": held,
            "kept": kept_values[key],
            "value": unit_of(held.quantity, unit_word).show(held.value),
            "readings": [unit_of(held.quantity, unit_word).show(reading) for reading in held.readings],
            "corrections": [
                (correction, content, _typed(content["value"], kept_values[key]["typed_unit"]))
                for correction, content in corrections
                if content["key"] == key
            ],
        }
        for key, held in stands.items()
    ]
    context = {
        "person": one,
        "row": row,
        "content": row.content,
        "where": _about(row),
        "lines": lines,
        "not_measured": [
            key_in_words(key, _region(row), unit_word) for key in reversed(row.content["not_measured"])
        ],
        "amended": [_amended(one, _region(row), unit_word) for one in row.content["amended"]],
        "protocols": [Protocol.model_validate(text) for text in row.content["protocols"].values()],
    }
    return render(request, "measuring/kept.html", context)


@requires("measuring.view")
def protocols(request: StaffRequest) -> HttpResponse:
    """The clinic's protocols, with their sources."""
    try:
        present = present_protocols()
    except ProtocolError as error:
        context = {"title": "The protocols cannot be read", "words": f"{error}. The owner can mend the file."}
        return render(request, "pages/problem.html", context, status=500)
    return render(request, "measuring/protocols.html", {"protocols": present})


def _about(row: MeasureEntry) -> str:
    content = row.content
    region = content["region"].replace("_", " ")
    what = ", ".join(content["protocols"])
    return f"{content['side']} {region}".strip() + (f": {what}" if region else what)


def _region(row: MeasureEntry) -> RegionKind | None:
    return RegionKind(row.content["region"]) if row.content["region"] else None


def _amended(one: dict[str, str], region: RegionKind | None, length_unit: str) -> str:
    """A reading that was typed otherwise before."""
    reading, _, key = one["field"].partition("-")
    words = key_in_words(key, region, length_unit)
    return f"{words}, reading {reading.removeprefix('r')}: {one['was']}, then {one['now'] or 'nothing'}"


def _typed(value: dict[str, Any], unit: str) -> str:
    return " · ".join(f"{one} {unit}" for one in value.get("typed", ()))


def _blocks(numbers: list[Measured], length_unit: str) -> list[ProtocolBlock]:
    every = courses(numbers)
    gathered: dict[tuple[str, str], list[Series]] = {}
    for course in every:
        gathered.setdefault((course.last.where, course.last.protocol.key), []).append(course)
    blocks = []
    for (where, _key), group in gathered.items():
        refused = {
            why
            for course in group
            for other in every
            if other.last.place == course.last.place and (why := why_not(other.numbers[0], course.last))
        }
        rows = tuple(
            _row(course, unit_of(course.last.quantity, length_unit), length_unit) for course in group
        )
        blocks.append(
            ProtocolBlock(
                where.capitalize() or "Weight", group[0].last.protocol, rows, tuple(sorted(refused))
            )
        )
    return blocks


def _row(course: Series, unit: TypedUnit, length_unit: str) -> SeriesRow:
    change = course.change
    return SeriesRow(
        words=course.last.words(length_unit),
        course=course,
        first=unit.show(course.numbers[0].value),
        last=unit.show(course.last.value),
        difference=f"{'+' if change.difference > 0 else '−' if change.difference < 0 else '±'}"
        f"{unit.show(abs(change.difference))}"
        if change
        else "",
        smallest=unit.show(change.smallest_real) if change else "",
        others=bool(change and not change.same_measurer),
        chart=chart(course) if change else None,
    )
