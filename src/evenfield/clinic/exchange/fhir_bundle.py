"""One person or one visit as a FHIR R4B bundle (type collection), checked before anyone gets it.

What each thing becomes is listed in docs/exchange.md. Nothing computed goes out as if it had been observed: a
plan's forecast is no Observation.
"""

import base64
import json
import uuid
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from django.utils.crypto import salted_hmac

from evenfield import __version__
from evenfield.clinic.courses.models import Course, CourseState, Visit, VisitState
from evenfield.clinic.exchange import fhir_terms as terms
from evenfield.clinic.exchange.fhir_check import problems
from evenfield.clinic.exchange.gathered import Gathered
from evenfield.clinic.photographs import store
from evenfield.clinic.photographs.album import Photograph

Resource = dict[str, Any]
MEDIA_TYPE = "application/fhir+json"

_COURSE_STATUS = {
    CourseState.OPEN: "active",
    CourseState.FINISHED: "completed",
    CourseState.STOPPED: "revoked",
}
_ENCOUNTER_STATUS = {
    VisitState.PLANNED: "planned",
    VisitState.RUNNING: "in-progress",
    VisitState.DONE: "finished",
    VisitState.MISSED: "cancelled",  # there is no code for it; an extension says which
    VisitState.CANCELLED: "cancelled",
}


class FhirError(Exception):
    """The bundle would not be sound, so it is not sent; the message says what is wrong with it."""


def fhir_bundle(gathered: Gathered, *, photographs: bool = False) -> bytes:
    """The bundle as JSON; pictures themselves only if `photographs`. Raises FhirError."""
    bundle = build(gathered, photographs=photographs)
    found = problems(bundle)
    if found:
        raise FhirError("This record cannot be sent as FHIR: " + " ".join(found[:5]))
    return json.dumps(bundle, ensure_ascii=False, indent=1).encode()


def build(gathered: Gathered, *, photographs: bool = False) -> Resource:
    """The bundle as plain data, unchecked."""
    from evenfield.clinic.exchange.fhir_answers import consents, decisions, questionnaires
    from evenfield.clinic.exchange.fhir_measured import observations
    from evenfield.clinic.exchange.fhir_visit import during

    resources = [organization(gathered), patient(gathered)]
    resources += [practitioner(number, account.name) for number, account in gathered.staff.items()]
    resources += _places(gathered)
    resources += [care_plan(course, gathered) for course in gathered.courses]
    for visit in gathered.visits:
        resources.append(encounter(visit, gathered))
        if visit.state in (VisitState.RUNNING, VisitState.DONE):
            resources.append(procedure(visit, gathered))
        if visit.plan:
            resources.append(_plan_document(visit, gathered))
        resources += during(visit, gathered.entries.get(visit.pk, ()), gathered)
    resources += questionnaires(gathered)
    resources += decisions(gathered)
    resources += consents(gathered)
    resources += observations(gathered)
    resources += [media(one, gathered, embed=photographs) for one in gathered.photographs]
    about = f"visit/{gathered.visit.pk}" if gathered.visit else f"person/{gathered.person.pk}"
    return {
        "resourceType": "Bundle",
        "id": uid("bundle", f"{about}/{gathered.at.timestamp()}"),
        "meta": {"tag": [{"display": f"made by evenfield {__version__}"}, {"display": terms.LOINC_NOTICE}]},
        "type": "collection",
        "timestamp": moment(gathered.at),
        "entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in resources],
    }


def uid(kind: str, key: object) -> str:
    """The same for a thing for ever, and telling nothing about it."""
    digest = salted_hmac("exchange", f"{kind}/{key}", algorithm="sha256").digest()
    return str(uuid.UUID(bytes=digest[:16], version=4))


def reference(kind: str, key: object) -> dict[str, str]:
    """A reference to another entry of the bundle."""
    return {"reference": f"urn:uuid:{uid(kind, key)}"}


def moment(at: datetime) -> str:
    """A time in UTC."""
    return at.astimezone(UTC).isoformat(timespec="seconds")


def own(system: str, code: str, words: str = "") -> dict[str, Any]:
    """A CodeableConcept in one of our own code systems."""
    return {"coding": [{"system": system, "code": code}], "text": words or code}


def area(region: str, side: str) -> dict[str, Any]:
    """A region with its side."""
    words = f"{side} {region.replace('_', ' ')}".strip()
    return own(terms.AREA, f"{region.replace('_', '-')}{f'-{side}' if side else ''}", words)


def base64_of(content: bytes | str) -> str:
    """Content as FHIR's base64Binary."""
    return base64.b64encode(content.encode() if isinstance(content, str) else content).decode()


def performer(number: int | None, gathered: Gathered) -> list[dict[str, str]]:
    """Who did something, empty if it was no account (any more)."""
    return [reference("staff", number)] if number in gathered.staff else []


def resource(kind: str, name: str, key: object, /, **content: Any) -> Resource:
    """A resource without what is empty."""
    kept = {field: value for field, value in content.items() if value not in ("", None, [], {})}
    return {"resourceType": kind, "id": uid(name, key), **kept}


def organization(gathered: Gathered) -> Resource:
    """The clinic."""
    return resource("Organization", "clinic", "", name=gathered.clinic, active=True)


def patient(gathered: Gathered) -> Resource:
    """The person, with the codes of records merged into this one."""
    one = gathered.person
    names = [
        _without_empty(
            use="official", family=one.family_name, given=[one.given_name] if one.given_name else []
        )
    ]
    if one.other_names:
        names.append({"use": "old", "text": one.other_names})
    telecom = [("phone", one.phone), ("email", one.email)]
    return resource(
        "Patient",
        "person",
        one.pk,
        identifier=[{"system": terms.PERSON_CODE, "value": each.code} for each in gathered.people],
        active=one.active,
        name=names,
        telecom=[{"system": system, "value": value} for system, value in telecom if value],
        birthDate=one.born.isoformat() if one.born else "",
        managingOrganization=reference("clinic", ""),
    )


def _without_empty(**content: Any) -> dict[str, Any]:
    return {name: value for name, value in content.items() if value}


def practitioner(number: int, name: str) -> Resource:
    """A member of staff, by name only."""
    return resource("Practitioner", "staff", number, name=[{"text": name}])


def _places(gathered: Gathered) -> list[Resource]:
    """Rooms and devices of the visits."""
    rooms = {visit.room_id: visit.room for visit in gathered.visits if visit.room}
    devices = {visit.device_id: visit.device for visit in gathered.visits if visit.device}
    found = [
        resource("Location", "room", key, name=room.name, status="active" if room.in_use else "inactive")
        for key, room in rooms.items()
    ]
    for key, device in devices.items():
        found.append(
            resource(
                "Device",
                "device",
                key,
                identifier=[{"system": terms.SERIAL, "value": device.number}] if device.number else [],
                status="active" if device.in_use else "inactive",
                deviceName=[{"name": device.name, "type": "user-friendly-name"}],
                note=[{"text": f"Manual: {device.manual}"}] if device.manual else [],
            )
        )
    return found


def care_plan(course: Course, gathered: Gathered) -> Resource:
    """A course; the visits sent are its outcomes."""
    visits = [visit for visit in gathered.visits if visit.course_id == course.pk]
    return resource(
        "CarePlan",
        "course",
        course.pk,
        status=_COURSE_STATUS[CourseState(course.state)],
        intent="plan",
        title=f"Course of {course.visits_planned} visits, {course.spacing_days} days apart",
        category=[area(course.region, course.side)],
        description=course.protocol_note,
        subject=reference("person", gathered.person.pk),
        created=moment(course.created),
        activity=[{"outcomeReference": [reference("visit", visit.pk) for visit in visits]}] if visits else [],
        note=[
            {"text": text}
            for text in (
                f"Hoped for, in the client's words: {course.aim}" if course.aim else "",
                course.state_reason,
            )
            if text
        ],
    )


def encounter(visit: Visit, gathered: Gathered) -> Resource:
    """One visit, planned or past."""
    start, end = visit.started_at or visit.planned_start, visit.ended_at
    if visit.started_at is None:
        end = visit.planned_end
    extensions = [{"url": terms.VISIT_STATE, "valueCode": visit.state}]
    if visit.reason:
        extensions.append({"url": terms.VISIT_REASON, "valueString": visit.reason})
    return resource(
        "Encounter",
        "visit",
        visit.pk,
        extension=extensions,
        status=_ENCOUNTER_STATUS[VisitState(visit.state)],
        **{"class": {"system": terms.ACT_CODE, "code": "AMB", "display": "ambulatory"}},
        subject=reference("person", gathered.person.pk),
        participant=[{"individual": who} for who in performer(visit.staff_id, gathered)],
        period=_without_empty(start=moment(start), end=moment(end) if end else ""),
        location=[{"location": reference("room", visit.room_id)}] if visit.room else [],
        serviceProvider=reference("clinic", ""),
    )


def procedure(visit: Visit, gathered: Gathered) -> Resource:
    """The session of a visit that was begun."""
    end = moment(visit.ended_at) if visit.ended_at else ""
    words = "contactless radio-frequency warming at 27.12 MHz"
    return resource(
        "Procedure",
        "session",
        visit.pk,
        basedOn=[reference("course", visit.course_id)],
        status="completed" if visit.state == VisitState.DONE else "in-progress",
        code=own(terms.ACTIVITY, "warming", words),
        subject=reference("person", gathered.person.pk),
        encounter=reference("visit", visit.pk),
        performedPeriod=_without_empty(start=moment(visit.started_at or visit.planned_start), end=end),
        performer=[{"actor": who} for who in performer(visit.staff_id, gathered)],
        bodySite=[area(visit.course.region, visit.course.side)],
        usedReference=[reference("device", visit.device_id)] if visit.device else [],
    )


def _plan_document(visit: Visit, gathered: Gathered) -> Resource:
    """What was planned for a visit: computed, so a document and not an observation."""
    plan: Mapping[str, Any] = visit.plan
    title = f"plan of visit {visit.number}: computed, nothing of it was measured"
    return visit_document(visit, gathered, "plan", "plan of a visit with its forecast", title, plan)


def visit_document(
    visit: Visit, gathered: Gathered, name: str, kind: str, title: str, content: Any
) -> Resource:
    """Plain data that belong to a visit and are no observation, as a document in JSON."""
    attachment = {
        "contentType": "application/json",
        "title": title,
        "data": base64_of(json.dumps(content, ensure_ascii=False)),
    }
    return resource(
        "DocumentReference",
        name,
        visit.pk,
        status="current",
        type=own(terms.ACTIVITY, name, kind),
        subject=reference("person", gathered.person.pk),
        custodian=reference("clinic", ""),
        content=[{"attachment": attachment}],
        context={"encounter": [reference("visit", visit.pk)]},
    )


def media(one: Photograph, gathered: Gathered, *, embed: bool) -> Resource:
    """A photograph; without its picture unless that was asked for."""
    content = {"contentType": "image/jpeg", "title": one.words}
    if embed:
        content["data"] = base64_of(store.path_of(one.file).read_bytes())
    visit = gathered.visit_on(one.at)
    said = (f"Distance {one.distance_words}.", f"Light: {one.light}." if one.light else "", one.note)
    return resource(
        "Media",
        "photograph",
        one.number,
        status="completed",
        subject=reference("person", gathered.person.pk),
        encounter=reference("visit", visit.pk) if visit else {},
        createdDateTime=moment(one.at),
        bodySite=area(one.region, one.side),
        height=one.height,
        width=one.width,
        content=content,
        note=[{"text": " ".join(part for part in said if part)}],
    )
