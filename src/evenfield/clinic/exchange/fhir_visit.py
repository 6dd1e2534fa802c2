"""What was entered during a visit as FHIR: readings as Observations, unwanted events, and every entry whole.

Only what a person entered goes out so; estimates and prompts are computed and stay out. Readings are those
that stand after corrections; the document with every entry holds what was corrected too.
"""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

from evenfield.clinic.courses.models import Visit
from evenfield.clinic.exchange import fhir_terms as terms
from evenfield.clinic.exchange.fhir_bundle import (
    Resource,
    area,
    moment,
    own,
    reference,
    resource,
    visit_document,
)
from evenfield.clinic.exchange.gathered import Gathered
from evenfield.clinic.visits.models import Kind
from evenfield.clinic.visits.running import Row
from evenfield.conduct import events as said
from evenfield.conduct import standing

# Own convention, as there is none: the grade itself goes beside it (practice notes, label M).
_SEVERITY = {1: "mild", 2: "moderate", 3: "severe", 4: "severe", 5: "severe"}


def during(visit: Visit, rows: Sequence[Row], gathered: Gathered) -> list[Resource]:
    """The resources of one visit's entries; nothing if there are none."""
    if not rows or visit.started_at is None:
        return []
    events = [row.event for row in rows if row.event is not None]
    facts = standing(events, float("inf"))
    found = [one for fact in facts if (one := _reading(fact, visit, gathered)) is not None]
    found += [_unwanted(row, visit, gathered) for row in rows if row.kind == Kind.ADVERSE]
    return [*found, _entries(visit, rows, gathered)]


def _reading(fact: said.Fact, visit: Visit, gathered: Gathered) -> Resource | None:
    """A number read during the visit."""
    site: dict[str, Any] = area(visit.course.region, visit.course.side)
    match fact:
        case said.SkinReading():
            code = own(terms.MEASURE, "skin-temperature", "temperature of the skin at its surface")
            display = terms.LOINC_DISPLAY[terms.SKIN_TEMPERATURE]
            coding = {"system": terms.LOINC, "code": terms.SKIN_TEMPERATURE, "display": display}
            code["coding"].insert(0, coding)
            site["text"] += f", {fact.zone}"
            value, unit = fact.celsius, "Cel"
        case said.PowerSet():
            code, value, unit = (
                own(terms.MEASURE, "set-power", "power as set, not as absorbed"),
                fact.watts,
                "W",
            )
        case said.TuningShown():
            code, value, unit = (
                own(terms.MEASURE, "tuning", "tuning as the device showed it"),
                fact.percent,
                "%",
            )
        case said.Comfort():
            code, value, unit = (
                own(terms.MEASURE, "comfort", "comfort, 0 to 10"),
                float(fact.score),
                "{score}",
            )
        case _:
            return None
    assert visit.started_at is not None
    at = visit.started_at + timedelta(seconds=max(fact.when_s, 0.0))
    return resource(
        "Observation",
        "entry",
        f"{visit.pk}/{fact.id}",
        partOf=[reference("session", visit.pk)],
        status="final",
        code=code,
        subject=reference("person", gathered.person.pk),
        encounter=reference("visit", visit.pk),
        effectiveDateTime=moment(at),
        valueQuantity={"value": value, "unit": unit, "system": terms.UCUM, "code": unit},
        bodySite=site,
    )


def _unwanted(row: Row, visit: Visit, gathered: Gathered) -> Resource:
    content: Mapping[str, Any] = row.content
    scale = f"{content['scale']} {content['scale_version']}"
    words = f"{content['name']}, grade {content['grade']} of {scale}: {content['words']}"
    severity = _SEVERITY[int(content["grade"])]
    return resource(
        "AdverseEvent",
        "unwanted",
        row.number,
        actuality="actual",
        event={"text": words},
        subject=reference("person", gathered.person.pk),
        encounter=reference("visit", visit.pk),
        recordedDate=moment(row.at),
        severity={"coding": [{"system": terms.SEVERITY, "code": severity}]},
        suspectEntity=[{"instance": reference("session", visit.pk)}],
    )


def _entries(visit: Visit, rows: Sequence[Row], gathered: Gathered) -> Resource:
    """Every entry as it was kept, corrected ones too, in one document."""
    told = [
        {"number": row.number, "kept": moment(row.at), "kind": row.kind, "by": row.actor, **row.content}
        for row in rows
    ]
    title = f"every entry of visit {visit.number}, times in seconds from its start"
    return visit_document(visit, gathered, "entries", "entries of a visit", title, told)
