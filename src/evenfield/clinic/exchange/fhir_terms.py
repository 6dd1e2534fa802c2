"""Codes, value sets and units of the FHIR R4B export, and where each comes from.

Only LOINC (https://loinc.org, its copyright notice goes with every bundle), the terminology that HL7
publishes with FHIR, and code systems of our own are used; SNOMED CT and MedDRA need licences and are not
(see docs/decisions/0170). Value sets marked "required" are those of FHIR R4 4.0.1, label P, unless a comment
says M (from memory); `tests/clinic/test_fhir_terms.py` holds the P ones against the standard's lists.
"""

from evenfield.clinic.measuring.history import Measured
from evenfield.clinic.measuring.protocols import Quantity, default_protocols

# .invalid is reserved and answers nowhere (RFC 2606, section 2): these addresses are names only.
OWN = "https://evenfield.invalid/fhir"
AREA = f"{OWN}/CodeSystem/area"
MEASURE = f"{OWN}/CodeSystem/measure"
PROTOCOL = f"{OWN}/CodeSystem/protocol"
ACTIVITY = f"{OWN}/CodeSystem/activity"
ANSWER = f"{OWN}/CodeSystem/answer"
PERSON_CODE = f"{OWN}/identifier/person-code"
SERIAL = f"{OWN}/identifier/device-number"
VISIT_STATE = f"{OWN}/StructureDefinition/visit-state"
VISIT_REASON = f"{OWN}/StructureDefinition/visit-reason"

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
ACT_CODE = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
OBSERVATION_CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
CONSENT_SCOPE = "http://terminology.hl7.org/CodeSystem/consentscope"
SEVERITY = "http://terminology.hl7.org/CodeSystem/adverse-event-severity"
PROVENANCE_AGENT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"

SYSTEMS = frozenset(
    {AREA, MEASURE, PROTOCOL, ACTIVITY, ANSWER, LOINC, ACT_CODE, OBSERVATION_CATEGORY, CONSENT_SCOPE,
     SEVERITY, PROVENANCE_AGENT}
)  # fmt: skip
"""Every system a coding may name."""

LOINC_NOTICE = (
    "This material contains content from LOINC (http://loinc.org). LOINC is copyright Regenstrief Institute, "
    "Inc. and the Logical Observation Identifiers Names and Codes (LOINC) Committee and is available at no "
    "cost under the license at http://loinc.org/license."
)
LOINC_DISPLAY = {
    "29463-7": "Body weight",
    "8280-0": "Waist Circumference at umbilicus by Tape measure",
    "56115-9": "Waist Circumference by NCFS",
    "56072-2": "Circumference Mid upper arm - right",
    "39106-0": "Temperature of Skin",
}
# A code is right only with its protocol and place; all else goes out under our own code.
_LOINC_OF = {
    ("abdomen_navel_tape", "", 0.0): "8280-0",
    ("abdomen_midpoint_tape", "", 0.0): "56115-9",
    ("upper_arm_mid_tape", "right", 0.0): "56072-2",
    ("weight_scale", "", None): "29463-7",
}
OWN_MEASURE = {Quantity.GIRTH: "girth", Quantity.FAT: "fat-thickness", Quantity.WEIGHT: "weight"}

_UNITS = (
    "kg g cm mm kg/m2 Cel [degF] min s h d W W/kg W/cm2 J kJ J/cm2 MHz V/m V A % {score} 1 /min mm[Hg] "
    "[in_i] [lb_av] mm2 cm2 K N g/cm2 m/s"
)
UNITS = frozenset(_UNITS.split())
"""UCUM expressions that may go out (validated with the NLM UCUM library 7.1.10, label P; m/s is M)."""
SKIN_TEMPERATURE = "39106-0"
_LENGTHS = frozenset({"cm", "[in_i]"})
LOINC_UNITS = {
    "29463-7": frozenset({"kg", "g", "[lb_av]"}),
    "8280-0": _LENGTHS,
    "56115-9": _LENGTHS,
    "56072-2": _LENGTHS,
    "39106-0": frozenset({"Cel", "[degF]"}),
}
"""Units that the vital-sign profiles of R4 force on weight, lengths and temperatures (P); that a girth and
a skin temperature keep to those of a length and of a body temperature is ours (A)."""

_EVENT = "preparation in-progress not-done on-hold stopped completed entered-in-error unknown"
REQUIRED: dict[str, frozenset[str]] = {
    path: frozenset(codes.split())
    for path, codes in {
        "Bundle.type": "document message transaction transaction-response batch batch-response history "
        "searchset collection",  # M
        "Patient.name.use": "usual official temp nickname anonymous old maiden",  # M
        "Patient.telecom.system": "phone fax email pager url sms other",  # M
        "Location.status": "active suspended inactive",  # M
        "Device.status": "active inactive entered-in-error unknown",
        "Device.deviceName.type": "udi-label-name user-friendly-name patient-reported-name manufacturer-name "
        "model-name other",  # M
        "CarePlan.status": "draft active on-hold revoked completed entered-in-error unknown",  # M
        "CarePlan.intent": "proposal plan order option",  # M
        "Encounter.status": "planned arrived triaged in-progress onleave finished cancelled entered-in-error "
        "unknown",
        "Procedure.status": _EVENT,
        "Media.status": _EVENT,
        "Observation.status": "registered preliminary final amended corrected cancelled "
        "entered-in-error unknown",
        "Questionnaire.status": "draft active retired unknown",
        "Questionnaire.item.type": "group display boolean decimal integer date dateTime time string text url "
        "choice open-choice attachment reference quantity",  # M
        "Questionnaire.item.item.type": "group display boolean string text choice",  # M, those that fit here
        "QuestionnaireResponse.status": "in-progress completed amended entered-in-error stopped",
        "Consent.status": "draft proposed active rejected inactive entered-in-error",
        "DocumentReference.status": "current superseded entered-in-error",
        "DocumentReference.docStatus": "preliminary final amended entered-in-error",
        "AdverseEvent.actuality": "actual potential",
        "Provenance.entity.role": "derivation revision quotation source removal",
    }.items()
}
"""Codes allowed where a value set is required, by path; label P unless M stands beside it."""
CODES: dict[str, frozenset[str]] = {
    ACT_CODE: frozenset(["AMB", "VR", "HH", "FLD", "EMER", "IMP", "ACUTE", "NONAC", "OBSENC", "PRENC", "SS"]),
    CONSENT_SCOPE: frozenset(["adr", "research", "patient-privacy", "treatment"]),
    OBSERVATION_CATEGORY: frozenset(
        ["vital-signs", "exam", "survey", "procedure", "therapy", "activity"]
    ),  # M
    SEVERITY: frozenset(["mild", "moderate", "severe"]),
    PROVENANCE_AGENT: frozenset(
        ["author", "performer", "enterer", "verifier", "assembler", "custodian"]
    ),  # M
    LOINC: frozenset(LOINC_DISPLAY),
}
"""Codes that may go out from systems that are not our own; label P unless M stands beside them."""
MANDATORY: dict[str, tuple[str, ...]] = {
    "Observation": ("status", "code"),
    "Procedure": ("status", "subject"),
    "AdverseEvent": ("actuality", "subject"),
    "Encounter": ("status", "class"),
    "Media": ("status", "content"),
    "Provenance": ("target", "recorded", "agent"),
    "Consent": ("status", "scope", "category"),
    "QuestionnaireResponse": ("status",),
    "CarePlan": ("status", "intent", "subject"),
    "DocumentReference": ("status", "content"),
}
"""Elements that must be there: P, but M for status of Consent and all of the last three."""


def loinc_of(one: Measured) -> str:
    """The LOINC code of a number, "" where none is certain.

    A clinic's own protocol under a shipped id counts only if it measures the same.
    """
    shipped = default_protocols().by_id(one.protocol.id)
    if shipped is None or shipped.key != one.protocol.key:
        return ""
    return _LOINC_OF.get((one.protocol.id, one.side, one.level_mm), "")
