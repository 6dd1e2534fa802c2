"""Checks of a FHIR R4B bundle that its data model leaves out: value sets, units, references, invariants.

The model classes (`fhir.resources.R4B`) know which elements there are and of what type; they accept any text
where a required value set gives a few codes, any unit, and references to nothing. The invariants named beside
the checks (bdl-7, obs-6, ppc-1 ...) are those of FHIR R4, written down from memory (M).
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from evenfield.clinic.exchange.fhir_terms import (
    CODES,
    LOINC,
    LOINC_DISPLAY,
    LOINC_UNITS,
    MANDATORY,
    OWN,
    REQUIRED,
    SYSTEMS,
    UCUM,
    UNITS,
)

_TARGETS: dict[str, frozenset[str]] = {
    path: frozenset(types.split())
    for path, types in {
        "Patient.managingOrganization": "Organization",
        "CarePlan.subject": "Patient",
        "CarePlan.activity.outcomeReference": "Encounter Procedure Observation",
        "Encounter.subject": "Patient",
        "Encounter.serviceProvider": "Organization",
        "Encounter.participant.individual": "Practitioner",
        "Encounter.location.location": "Location",
        "Procedure.subject": "Patient",
        "Procedure.encounter": "Encounter",
        "Procedure.basedOn": "CarePlan",
        "Procedure.performer.actor": "Practitioner Organization Patient Device",
        "Procedure.usedReference": "Device",
        "Observation.subject": "Patient",
        "Observation.encounter": "Encounter",
        "Observation.partOf": "Procedure",
        "AdverseEvent.subject": "Patient",
        "AdverseEvent.encounter": "Encounter",
        "AdverseEvent.suspectEntity.instance": "Procedure Device",
        "Observation.performer": "Practitioner Organization Patient",
        "Observation.derivedFrom": "QuestionnaireResponse Observation Media DocumentReference",
        "QuestionnaireResponse.subject": "Patient",
        "QuestionnaireResponse.encounter": "Encounter",
        "QuestionnaireResponse.author": "Practitioner Organization Patient Device",
        "Consent.patient": "Patient",
        "Consent.performer": "Patient Practitioner Organization",
        "Consent.organization": "Organization",
        "Consent.sourceReference": "DocumentReference Consent QuestionnaireResponse",
        "DocumentReference.subject": "Patient",
        "DocumentReference.custodian": "Organization",
        "DocumentReference.context.encounter": "Encounter",
        "Media.subject": "Patient",
        "Media.encounter": "Encounter",
        "Provenance.target": "Patient Observation Consent Encounter",
        "Provenance.agent.who": "Practitioner Organization Device Patient",
        "Provenance.entity.what": "Observation Consent",
    }.items()
}
"""Types to which a reference at a path may point (FHIR R4, label M)."""


def problems(bundle: Mapping[str, Any]) -> list[str]:
    """Every fault of a bundle in its JSON form, as sentences; nothing if it is sound."""
    return list(_problems(bundle))


def _problems(bundle: Mapping[str, Any]) -> Iterator[str]:
    yield from _model(bundle)
    entries = bundle.get("entry", [])
    types: dict[str, str] = {}
    for entry in entries:
        url, resource = entry.get("fullUrl", ""), entry["resource"]
        if url in types:  # bdl-7
            yield f"Bundle: two entries have the fullUrl {url}."
        if url != f"urn:uuid:{resource.get('id')}":
            yield f"{resource['resourceType']}: its fullUrl {url!r} does not name its id."
        types[url] = resource["resourceType"]
    yield from _codes("Bundle", "Bundle.type", bundle.get("type"))
    for entry in entries:
        resource = entry["resource"]
        where = f"{resource['resourceType']}/{resource.get('id')}"
        for path, value in _walk(resource, resource["resourceType"]):
            yield from _codes(where, path, value)
            if isinstance(value, dict):
                yield from _element(where, path, value, types)
        yield from _resource(where, resource)


def _model(bundle: Mapping[str, Any]) -> Iterator[str]:
    """What the data model itself finds: unknown elements, wrong types and cardinalities."""
    from fhir.resources.R4B.bundle import Bundle
    from pydantic import ValidationError

    try:
        Bundle.model_validate(bundle)
    except ValidationError as error:
        for one in error.errors(include_url=False, include_context=False):
            yield f"{'.'.join(str(part) for part in one['loc'])}: {one['msg']}."


def _walk(value: Any, path: str) -> Iterator[tuple[str, Any]]:
    """Every element below, with its path; the members of a list share one."""
    if isinstance(value, dict):
        for name, below in value.items():
            for one in below if isinstance(below, list) else [below]:
                yield f"{path}.{name}", one
                yield from _walk(one, f"{path}.{name}")


def _codes(where: str, path: str, value: Any) -> Iterator[str]:
    allowed = REQUIRED.get(path)
    if allowed and value not in allowed:
        yield f"{where}: {path} is {value!r}; allowed are {', '.join(sorted(allowed))}."


def _element(where: str, path: str, value: Mapping[str, Any], types: Mapping[str, str]) -> Iterator[str]:
    here = f"{where}: {path}"
    if "reference" in value:
        yield from _reference(here, path, str(value["reference"]), types)
    if path.endswith((".coding", ".valueCoding")) or path == "Encounter.class":
        yield from _coding(here, value)
    if path.endswith("Quantity"):
        yield from _quantity(here, value)
    if {"start", "end"} <= set(value) and _moment(value["start"]) > _moment(value["end"]):  # per-1
        yield f"{here}: it ends before it starts."
    if "data" in value and "contentType" not in value:  # att-1
        yield f"{here}: data without contentType."
    valued = any(name.startswith("value") for name in value)
    if path.endswith(".extension") and valued is ("extension" in value):  # ext-1
        yield f"{here}: an extension has either a value or extensions."


def _reference(here: str, path: str, reference: str, types: Mapping[str, str]) -> Iterator[str]:
    found, allowed = types.get(reference), _TARGETS.get(path)
    if found is None:
        yield f"{here}: it points to {reference}, which is not in the bundle."
    elif allowed is None:
        yield f"{here}: nothing says what this reference may point to."
    elif found not in allowed:
        yield f"{here}: it points to a {found}; allowed are {', '.join(sorted(allowed))}."


def _coding(here: str, coding: Mapping[str, Any]) -> Iterator[str]:
    system, code = str(coding.get("system", "(none)")), coding.get("code")
    if system not in SYSTEMS:
        yield f"{here}: the code system {system} is not one we may send."
        return
    if not code:
        yield f"{here}: a coding without a code."
    elif not system.startswith(OWN) and code not in CODES[system]:
        yield f"{here}: {code!r} is not a code of {system} that is known here."
    if system == LOINC and coding.get("display") != LOINC_DISPLAY.get(str(code)):
        yield f"{here}: {coding.get('display')!r} is not how LOINC calls {code}."


def _quantity(here: str, quantity: Mapping[str, Any]) -> Iterator[str]:
    if "code" in quantity and "system" not in quantity:  # qty-3
        yield f"{here}: a unit's code without its system."
    elif quantity.get("system") != UCUM:
        yield f"{here}: the unit is not in UCUM."
    elif quantity.get("code") not in UNITS:
        yield f"{here}: {quantity.get('code')!r} is no UCUM expression that may go out."


def _resource(where: str, resource: Mapping[str, Any]) -> Iterator[str]:
    """Invariants of single resources; the name of each stands beside it."""
    kind = resource["resourceType"]
    for name in MANDATORY.get(kind, ()):
        if not resource.get(name):
            yield f"{where}: {name} is missing."
    if kind == "Observation":
        yield from _observation(where, resource)
    if kind == "Consent":
        if not (resource.get("policy") or resource.get("policyRule")):  # ppc-1
            yield f"{where}: it names neither policy nor policyRule."
        if not resource.get("patient"):  # ppc-2 to ppc-5
            yield f"{where}: a consent of this scope needs its patient."
    if kind == "Questionnaire":
        ids = [value for path, value in _walk(resource, kind) if path.endswith(".linkId")]
        if len(ids) != len(set(ids)):  # que-2
            yield f"{where}: two items have one linkId."
    if kind == "Patient" and not (resource.get("identifier") and resource.get("name")):
        yield f"{where}: a person needs an identifier and a name."


def _observation(where: str, one: Mapping[str, Any]) -> Iterator[str]:
    valued = any(name.startswith("value") for name in one)
    if valued and "dataAbsentReason" in one:  # obs-6
        yield f"{where}: a value and a reason for having none."
    parts = [part["code"] for part in one.get("component", [])]
    if valued and one["code"] in parts:  # obs-7
        yield f"{where}: a component repeats the code of the whole."
    codes = {coding.get("code") for coding in one["code"].get("coding", []) if coding.get("system") == LOINC}
    unit = one.get("valueQuantity", {}).get("code")
    for code in codes & set(LOINC_UNITS):
        allowed = LOINC_UNITS[str(code)]
        if unit not in allowed:
            yield f"{where}: {code} is given in {unit!r}; allowed are {', '.join(sorted(allowed))}."
    categories = {coding["code"] for each in one.get("category", []) for coding in each.get("coding", [])}
    if "vital-signs" in categories:  # the vital-signs profile: subject, time, and vs-2
        for name in ("subject", "effectiveDateTime"):
            if name not in one:
                yield f"{where}: a vital sign needs {name}."
        if not (valued or "dataAbsentReason" in one or parts):
            yield f"{where}: a vital sign needs a value or the reason for having none."
    elif "29463-7" in codes:
        yield f"{where}: body weight is a vital sign and must be marked so."


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)
