"""The codes of the export against the lists that the standards print.

Source: the definitions of FHIR R4 4.0.1 (label P) for value sets and elements that must be there;
v3-ActEncounterCode; the R4 vital-sign profiles for units; LOINC's own displays. What is missing here is
marked M in `fhir_terms`.
"""

import pytest

from evenfield.clinic.exchange import fhir_terms as terms

PRINTED = {
    "Observation.status": "registered preliminary final amended corrected cancelled entered-in-error unknown",
    "Procedure.status": "preparation in-progress not-done on-hold stopped completed entered-in-error unknown",
    "Media.status": "preparation in-progress not-done on-hold stopped completed entered-in-error unknown",
    "AdverseEvent.actuality": "actual potential",
    "Encounter.status": "planned arrived triaged in-progress onleave finished cancelled entered-in-error "
    "unknown",
    "Consent.status": "draft proposed active rejected inactive entered-in-error",
    "QuestionnaireResponse.status": "in-progress completed amended entered-in-error stopped",
    "Questionnaire.status": "draft active retired unknown",
    "DocumentReference.status": "current superseded entered-in-error",
    "DocumentReference.docStatus": "preliminary final amended entered-in-error",
    "Device.status": "active inactive entered-in-error unknown",
    "Provenance.entity.role": "derivation revision quotation source removal",
}
SYSTEMS = {
    terms.ACT_CODE: "AMB VR HH FLD EMER IMP ACUTE NONAC OBSENC PRENC SS",
    terms.CONSENT_SCOPE: "adr research patient-privacy treatment",
    terms.SEVERITY: "mild moderate severe",
}
NEEDED = {
    "Observation": "status code",
    "Procedure": "status subject",
    "AdverseEvent": "actuality subject",
    "Encounter": "status class",
    "Media": "status content",
    "Provenance": "target recorded agent",
}


@pytest.mark.parametrize("path", PRINTED)
def test_required_value_sets_hold_just_the_printed_codes(path: str) -> None:
    assert terms.REQUIRED[path] == set(PRINTED[path].split())


def test_systems_and_needed_elements() -> None:
    assert {system: set(terms.CODES[system]) for system in SYSTEMS} == {
        system: set(codes.split()) for system, codes in SYSTEMS.items()
    }
    assert {kind: " ".join(terms.MANDATORY[kind]) for kind in NEEDED} == NEEDED
    assert {"scope", "category"} <= set(terms.MANDATORY["Consent"])


def test_loinc_and_ucum() -> None:
    """Displays as LOINC prints them; UCUM as the NLM library takes it (Celsius is no ratio unit)."""
    assert terms.LOINC_DISPLAY["8280-0"] == "Waist Circumference at umbilicus by Tape measure"
    assert terms.LOINC_DISPLAY["56115-9"] == "Waist Circumference by NCFS"
    assert terms.LOINC_DISPLAY["56072-2"] == "Circumference Mid upper arm - right"
    assert terms.LOINC_DISPLAY["39106-0"] == "Temperature of Skin"
    assert terms.LOINC_UNITS["29463-7"] == {"kg", "g", "[lb_av]"}
    girths = set(terms.LOINC_DISPLAY) - {"29463-7", "39106-0"}
    assert all(terms.LOINC_UNITS[code] == {"cm", "[in_i]"} for code in girths)
    assert terms.LOINC_UNITS["39106-0"] == {"Cel", "[degF]"}
    assert not {"Cel/min", "min/Cel"} & terms.UNITS
