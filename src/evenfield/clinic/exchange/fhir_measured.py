"""Measurements as FHIR Observations, and each correction as Provenance."""

from typing import Any

from evenfield.clinic.exchange import fhir_terms as terms
from evenfield.clinic.exchange.fhir_bundle import (
    Resource,
    area,
    moment,
    own,
    performer,
    reference,
    resource,
)
from evenfield.clinic.exchange.gathered import Gathered
from evenfield.clinic.measuring.history import Measured
from evenfield.clinic.measuring.plan import direction_words
from evenfield.clinic.measuring.protocols import Quantity

# Unit as sent: UCUM code, one of it in SI, decimals.
_SENT = {Quantity.GIRTH: ("cm", 0.01, 2), Quantity.FAT: ("mm", 0.001, 2), Quantity.WEIGHT: ("kg", 1.0, 2)}


def observations(gathered: Gathered) -> list[Resource]:
    """One Observation per number, and a Provenance for each that was corrected."""
    found = []
    for one in gathered.numbers:
        found.append(observation(one, gathered))
        if one.correction:
            found.append(_correction(one, gathered))
    return found


def observation(one: Measured, gathered: Gathered) -> Resource:
    """One number with its protocol, place and single readings; a withdrawn one is entered-in-error."""
    unit, size, decimals = _SENT[one.quantity]
    visit = gathered.visit_on(one.at)
    loinc, weight = terms.loinc_of(one), one.quantity is Quantity.WEIGHT
    code = own(terms.MEASURE, terms.OWN_MEASURE[one.quantity], one.words("cm"))
    if loinc:
        coding = {"system": terms.LOINC, "code": loinc, "display": terms.LOINC_DISPLAY[loinc]}
        code["coding"].insert(0, coding)
    status = "entered-in-error" if one.withdrawn else "corrected" if one.correction else "final"
    shown = _part("instrument-reading", "reading as shown by the instrument")
    components = [{**shown, "valueQuantity": _quantity(each / size, unit, decimals)} for each in one.readings]
    if one.level_mm is not None:
        distance = _part("distance", "distance from the landmark along the skin, up is positive")
        components.insert(0, {**distance, "valueQuantity": _quantity(one.level_mm, "mm", 1)})
    notes = [f"Value: {one.how}." if one.agreed else f"Value: {one.how}; the readings did not agree."]
    if one.protocol.conversion:
        notes.append(f"Conversion: {one.protocol.conversion}.")
    if one.imported:
        notes.append("Taken in from a file.")
    return resource(
        "Observation",
        "number",
        f"{one.entry}/{one.key}",
        status=status,
        category=[_category("vital-signs" if weight else "exam")],
        code=code,
        subject=reference("person", gathered.person.pk),
        encounter=reference("visit", visit.pk) if visit else {},
        effectiveDateTime=moment(one.at),
        performer=performer(one.measurer, gathered),
        valueQuantity=_quantity(one.value / size, unit, decimals),
        note=[{"text": " ".join(notes)}],
        bodySite=_site(one),
        method=_method(one),
        component=components,
    )


def _part(code: str, words: str) -> dict[str, Any]:
    return {"code": own(terms.MEASURE, code, words)}


def _category(code: str) -> dict[str, Any]:
    return {"coding": [{"system": terms.OBSERVATION_CATEGORY, "code": code}]}


def _quantity(value: float, code: str, decimals: int) -> dict[str, Any]:
    return {"value": round(value, decimals), "unit": code, "system": terms.UCUM, "code": code}


def _site(one: Measured) -> dict[str, Any]:
    if one.region is None:
        return {}
    site = area(one.region, one.side)
    if one.direction:
        site["text"] += f", {direction_words(one.direction, one.region)}"
    return site


def _method(one: Measured) -> dict[str, Any]:
    protocol = one.protocol
    said = (protocol.landmark, protocol.posture, protocol.breathing, protocol.instrument)
    coding = {"system": terms.PROTOCOL, "version": protocol.version, "code": protocol.id}
    return {"coding": [coding], "text": f"{protocol.name}: {'; '.join(part for part in said if part)}"}


def _correction(one: Measured, gathered: Gathered) -> Resource:
    row = gathered.corrections[one.correction or 0]
    target = reference("number", f"{one.entry}/{one.key}")
    who = performer(row.actor_id, gathered) or [reference("clinic", "")]
    return resource(
        "Provenance",
        "correction",
        row.number,
        target=[target],
        recorded=moment(row.at),
        reason=[{"text": row.content["reason"]}],
        activity=own(terms.ACTIVITY, "withdrawal" if one.withdrawn else "correction"),
        agent=[
            {"type": {"coding": [{"system": terms.PROVENANCE_AGENT, "code": "author"}]}, "who": each}
            for each in who
        ],
    )
