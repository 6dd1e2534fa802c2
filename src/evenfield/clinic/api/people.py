"""People and measurements through the API."""

from typing import Any

from django.db import transaction
from django.http import HttpRequest
from ninja import Status

from evenfield.clinic.api.endpoints import looked_at, operation, someone, unfit
from evenfield.clinic.api.shapes import (
    Doubles,
    FindIn,
    FoundOut,
    Limit,
    Listed,
    NumberOut,
    Offset,
    PersonIn,
    PersonOut,
    Question,
    Questions,
    SetIn,
    SetOut,
    as_person,
)
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.measuring.history import Measured, entries, in_force, measured
from evenfield.clinic.measuring.known import girths_last_time, known_of
from evenfield.clinic.measuring.plan import PlanError, SetPlan, read_plan
from evenfield.clinic.measuring.protocols import ProtocolError, present_protocols
from evenfield.clinic.measuring.recording import keep_set
from evenfield.clinic.measuring.taking import SET_KEY, Taking, judge
from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.people.finding import Match, find_people, likely_same
from evenfield.clinic.people.forms import PersonForm
from evenfield.clinic.people.models import Person

Answer = Status[Any]


@operation("POST", "people/find", "people.view", name="api-find-people", gives={200: list[FoundOut]})
def find(request: HttpRequest, asked: FindIn) -> Answer:
    """Find people by part of a name, a code or a date of birth; the best 30 at most.

    A date such as 03/05/1980 is read in the clinic's order of day and month; 1980-05-03 is always clear.
    """
    clinic: Clinic = request.clinic  # type: ignore[attr-defined]
    found = find_people(asked.text, month_first=clinic.month_first, with_inactive=asked.with_inactive)
    trail.record(Action.FIND, kind="people.person", note=f"{len(found)} found")
    return Status(200, [_found(match) for match in found])


def _found(match: Match) -> FoundOut:
    return FoundOut(person=as_person(match.person), why=match.why)


@operation("POST", "people", "people.change", name="api-people", gives={201: PersonOut, 409: Doubles})
def add_person(request: HttpRequest, new: PersonIn) -> Answer:
    """Add a person. Someone who may be the same leads to 409 unless `really` is true."""
    form = PersonForm({**new.model_dump(exclude={"really", "born"}), "born": new.born.isoformat()})
    if not form.is_valid():
        return unfit(form)
    with transaction.atomic():
        person: Person = form.save(commit=False)
        alike = likely_same(person)
        if alike and not new.really:
            words = "Perhaps already here; send it with really: true if this is someone else."
            return Status(409, Doubles(detail=words, alike=[_found(match) for match in alike]))
        person.save()
    return Status(201, as_person(person))


@operation("GET", "people/{code}", "people.view", name="api-person", gives={200: PersonOut})
def person(request: HttpRequest, code: str) -> Answer:
    """One person. The code of a merged record gives the record kept."""
    one = someone(code)
    looked_at("people.person", one.pk, one.pk)
    return Status(200, as_person(one))


@operation(
    "GET",
    "people/{code}/measurements",
    "measuring.view",
    name="api-measurements",
    gives={200: Listed[NumberOut]},
)
def measurements(request: HttpRequest, code: str, limit: Limit = 100, offset: Offset = 0) -> Answer:
    """The numbers measured on a person, newest first; withdrawn ones are marked."""
    one = someone(code)
    looked_at("measuring.measureentry", "", one.pk)
    found = measured(entries(one))
    items = [_number(held) for held in found[offset : offset + limit]]
    return Status(200, {"items": items, "total": len(found), "offset": offset, "limit": limit})


def _number(one: Measured) -> NumberOut:
    return NumberOut(
        set=one.entry,
        key=one.key,
        measured_at=one.at,
        quantity=one.quantity,
        region=one.region,
        side=one.side,
        level_mm=one.level_mm,
        direction=one.direction,
        protocol=one.protocol.id,
        protocol_version=one.protocol.version,
        readings=list(one.readings),
        value=one.value,
        how=one.how,
        agreed=one.agreed,
        corrected=one.correction is not None,
        withdrawn=one.withdrawn,
        taken_in=one.imported,
    )


@operation(
    "POST",
    "people/{code}/measurements",
    "measuring.measure",
    name="api-measurements",
    gives={201: SetOut, 409: Questions},
)
def measure(request: HttpRequest, code: str, new: SetIn) -> Answer:
    """Keep a set of measurements, judged as on the page: what looks like a slip is asked (409), not taken."""
    one = someone(code)
    try:
        plan = read_plan(_asked(new), present_protocols(), new.unit)
    except (PlanError, ProtocolError) as error:
        return Status(422, {"detail": str(error)})
    keys = [line.key for line in plan.lines()]
    strange = sorted({value.key for value in new.values} - set(keys))
    if strange:
        words = f"There is no place {', '.join(strange)} in this set; its places are {', '.join(keys)}."
        return Status(422, {"detail": words})
    with transaction.atomic():
        numbers = in_force(one)
        taking = judge(plan, _sent(new, plan), known_of(plan, numbers), girths_last_time(plan, numbers))
        if not taking.complete:
            return Status(409, _questions(taking))
        row = keep_set(
            one, plan, taking.values(), token=taking.token, note=taking.note, confirmed=taking.confirmed()
        )
    return Status(201, SetOut(set=row.number))


def _asked(new: SetIn) -> dict[str, str]:
    """The set as the page's address asks for it."""
    return {
        "region": new.region or "",
        "side": new.side,
        "girth": new.girth,
        "levels": ",".join(f"{level:g}" for level in new.levels_mm),
        "fat": new.fat,
        "fat_levels": ",".join(f"{level:g}" for level in new.fat_levels_mm),
        "weight": "1" if new.weight else "",
    }


def _sent(new: SetIn, plan: SetPlan) -> dict[str, str]:
    """The set as the page's form sends it."""
    most = max(len(value.readings) for value in new.values)
    sent = {"state": Taking(plan, [[] for _ in range(most)], f"api {new.id}").state(), "note": new.note}
    for value in new.values:
        for place, reading in enumerate(value.readings):
            typed, suffix = f"{round(reading, 3):.10g}", f"{place + 1}-{value.key}"
            sent |= {f"r{suffix}": typed, f"why-{suffix}": value.why}
            if value.why:
                sent[f"sure-{suffix}"] = typed
    if new.why:
        sent |= {f"why-{SET_KEY}": new.why, f"sure-{SET_KEY}": "yes"}
    return sent


def _questions(taking: Taking) -> Questions:
    open_ones = [one for row in taking.rounds for one in row if one.open]
    found = [
        Question(
            key=one.line.key,
            reading=one.round,
            words=one.problem or (one.question.words if one.question else ""),
            likely=[f"{words}: {meant}" for words, meant in one.likely],
        )
        for one in open_ones
    ]
    if taking.about_set is not None and not taking.about_set.answered:
        found.append(Question(key=SET_KEY, reading=0, words=taking.about_set.words, likely=[]))
    words = "Put these readings right, read once more, or say why they are so (`why`, 5 letters at least)."
    return Questions(detail=taking.problem or words, questions=found)
