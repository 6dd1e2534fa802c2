"""Handing over a person or a visit: FHIR R4B with its own checks, CSV, PDF; each recorded."""

import base64
import csv
import io
import json
import re
import subprocess
import zipfile
from collections.abc import Callable, Mapping
from copy import deepcopy
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from django.utils.formats import date_format

from evenfield.clinic.access import Role
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.courses.visits import begin_visit, end_visit, miss_visit
from evenfield.clinic.demonstration import make_demonstration
from evenfield.clinic.devices.models import Device, TreatmentRoom
from evenfield.clinic.exchange.csv_text import guarded, unguarded, written
from evenfield.clinic.exchange.fhir_bundle import build
from evenfield.clinic.exchange.fhir_check import problems
from evenfield.clinic.exchange.gathered import of_person, of_visit
from evenfield.clinic.exchange.paper import paper
from evenfield.clinic.measuring.agreement import settle
from evenfield.clinic.measuring.history import entries as measure_entries
from evenfield.clinic.measuring.history import measured
from evenfield.clinic.measuring.plan import read_plan
from evenfield.clinic.measuring.protocols import default_protocols
from evenfield.clinic.measuring.recording import keep_correction, keep_set, number_content
from evenfield.clinic.people.models import Person
from evenfield.clinic.photographs.album import keep_photograph
from evenfield.clinic.photographs.picture import Picture
from evenfield.clinic.screening.consent import Text
from evenfield.clinic.screening.models import Kind, ScreeningEntry
from evenfield.clinic.screening.questions import present_questions
from evenfield.clinic.screening.recording import keep_answers, keep_consent, keep_decision
from evenfield.clinic.setup_check.runs import begin, tick
from evenfield.clinic.visits.closing import keep_unwanted
from evenfield.clinic.visits.recording import take_batch
from evenfield.conduct.setup import default_checklist
from tests.clinic.entries import entry, sending


def measure(person: Person, asked: dict[str, str], typed: Mapping[str, tuple[str, ...]], token: str) -> int:
    """Keep a set by the shipped protocols; numbers as typed, by key of the line."""
    plan = read_plan(asked, default_protocols(), "cm")
    values = []
    for line in plan.lines():
        readings = [line.unit.read(text) for text in typed[line.key]]
        values.append(number_content(line, typed[line.key], readings, settle(readings, line.protocol), ()))
    return keep_set(person, plan, values, token=token).number


@pytest.fixture
def whole(person: Callable[..., Person], account: Callable[..., Account], tmp_path: Path) -> Person:
    """A person about whom everything is held: visits done, missed and planned, corrections, a withdrawal."""
    one = person(other_names="=1+1", phone="0100 555 0101", note='@home only, "quotes"\nand a line')
    lead = account(Role.LEAD, username="lead")
    with acting(lead.actor("127.0.0.1")):
        room, device = TreatmentRoom(name="Garden room"), Device(name="Panels", number="A-1")
        room.save()
        device.save()
        course = Course(person=one, region="abdomen", visits_planned=3, spacing_days=14, aim="-2 sizes")
        course.save()
        now = timezone.now()
        for number, days in ((1, 0), (2, -7), (3, 14)):
            Visit(
                course=course, number=number, planned_start=now + timedelta(days=days), minutes=75, room=room,
                device=device, staff=lead, plan={"case": "title = 'x'"} if number == 3 else {},
            ).save()  # fmt: skip
        done, missed = Visit.objects.get(number=1), Visit.objects.get(number=2)
        running = begin_visit(done, now - timedelta(minutes=40))
        reading = {"kind": "skin_reading", "zone": "front", "celsius": 37.4}
        entries = sending(
            entry("power", "power_set", watts=60, ago_s=900),
            entry("skin", "skin_reading", zone="front", celsius=47.3, ago_s=800),
            entry("comfort", "comfort", score=7, ago_s=700),
            entry("fix", "correction", of="entry-skin", replacement=reading),
        )
        assert [kept.refused for kept in take_batch(running.pk, entries)] == [""] * 4
        keep_unwanted(
            running,
            "form-1",
            term="burn",
            grade=1,
            words="red for an hour",
            done="cooled",
            told="lead",
            began="",
        )
        end_visit(running, now)
        miss_visit(missed, "did not come")
        answers = keep_answers(
            one, present_questions(), {q.id: "not known" for q in present_questions().question}
        )
        keep_decision(answers, go_on=True, reason="seen and asked in person")
        keep_consent(one, Text("1", "I agree to the visits."), name="Ines Pallandér", drawing="")
        ScreeningEntry.keep(Kind.WITHDRAWAL, one.pk, {})
        keep_consent(one, Text("2", "I agree to the visits."), name="Ines Pallandér", drawing="")
        run = begin(one)
        lines = [line.id for line in default_checklist().line]
        tick(one, run.number, lines[0], done=True)
        tick(one, run.number, lines[1], done=False, reason="+ not needed here")
        girths = {"girth_50": ("84.1", "84.5"), "girth_0": ("88.0", "87.4"), "girth_-50": ("93.2", "93.0")}
        asked = {"region": "abdomen", "girth": "abdomen_navel_tape", "weight": "1"}
        measure(one, asked, {**girths, "weight": ("68.4", "68.4")}, "a")
        measure(
            one, {"region": "abdomen", "girth": "abdomen_midpoint_tape"}, {"girth_0": ("80.1", "80.3")}, "b"
        )
        arm = {"girth_50": ("30", "30"), "girth_0": ("29", "29.1"), "girth_-50": ("28", "28")}
        for side in ("left", "right"):
            measure(one, {"region": "upper_arm", "side": side, "girth": "upper_arm_mid_tape"}, arm, side)
        numbers = {held.key: held for held in measured(measure_entries(one)) if held.region == "abdomen"}
        settled = settle([0.841, 0.843], numbers["girth_50"].protocol)
        keep_correction(
            one, numbers["girth_50"], reason="read wrongly", typed=("84.1", "84.3"), readings=[0.841, 0.843],
            settled=settled,
        )  # fmt: skip
        keep_correction(one, numbers["girth_-50"], reason="tape slipped")
        said = {"region": "abdomen", "side": "", "view": "front", "posture": "standing", "distance_m": 1.5}
        keep_photograph(one, Picture(b"jpeg", b"small", 3, 2), {**said, "light": "window", "note": ""})
    return one


def by_type(bundle: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    """The resources of a type."""
    return [one["resource"] for one in bundle["entry"] if one["resource"]["resourceType"] == kind]


def codes(resource: dict[str, Any]) -> list[str]:
    """Codes of an observation, by the system's short name."""
    return [f"{one['system'].rsplit('/', 1)[1]} {one['code']}" for one in resource["code"]["coding"]]


def test_a_whole_person_is_a_sound_bundle(whole: Person) -> None:
    bundle = build(of_person(whole, "Clinic"), photographs=True)
    assert problems(bundle) == []
    kinds = {one["resource"]["resourceType"] for one in bundle["entry"]}
    assert kinds == {
        "Organization", "Patient", "Practitioner", "Location", "Device", "CarePlan", "Encounter", "Procedure",
        "DocumentReference", "Questionnaire", "QuestionnaireResponse", "Observation", "Consent", "Provenance",
        "Media", "AdverseEvent",
    }  # fmt: skip
    assert sorted(one["status"] for one in by_type(bundle, "Encounter")) == [
        "cancelled",
        "finished",
        "planned",
    ]
    assert [one["status"] for one in by_type(bundle, "Consent")] == ["inactive", "active"]
    assert len(by_type(bundle, "Procedure")) == 1
    text = json.dumps(bundle)
    assert "snomed" not in text.lower()
    assert "meddra" not in text.lower()
    again = build(of_person(whole, "Clinic"))
    assert {one["fullUrl"] for one in again["entry"]} == {one["fullUrl"] for one in bundle["entry"]}


def test_what_was_entered_during_a_visit_goes_with_it(whole: Person) -> None:
    """Readings stand as corrected; 39106-0 is the temperature of skin at loinc.org; nothing computed goes."""
    bundle = build(of_visit(Visit.objects.get(number=1), "Clinic"))
    during = [one for one in by_type(bundle, "Observation") if "partOf" in one]
    assert [(one["code"]["coding"][0]["code"], one["valueQuantity"]["value"]) for one in during] == [
        ("set-power", 60), ("39106-0", 37.4), ("comfort", 7),
    ]  # fmt: skip
    event = by_type(bundle, "AdverseEvent")[0]
    assert event["severity"]["coding"][0]["code"] == "mild"
    assert "grade 1" in event["event"]["text"]
    document = next(
        one for one in by_type(bundle, "DocumentReference") if one["type"]["text"] == "entries of a visit"
    )
    told = json.loads(base64.b64decode(document["content"][0]["attachment"]["data"]))
    assert [one["kind"] for one in told if one["kind"] == "correction"] == ["correction"]


def test_a_loinc_code_goes_only_with_its_protocol_and_place(whole: Person) -> None:
    """8280-0 is the navel, 56115-9 the midpoint, 56072-2 the right upper arm, 29463-7 weight: loinc.org."""
    found = by_type(build(of_person(whole, "Clinic")), "Observation")
    loinc = [
        (one["code"]["coding"][0]["code"], one["code"]["text"], one["valueQuantity"])
        for one in found
        if one["code"]["coding"][0]["system"] == "http://loinc.org" and "partOf" not in one
    ]
    ucum = "http://unitsofmeasure.org"
    assert sorted(loinc, key=str) == [
        ("29463-7", "Weight", {"value": 68.4, "unit": "kg", "system": ucum, "code": "kg"}),
        ("56072-2", "Girth, at the landmark", {"value": 29.05, "unit": "cm", "system": ucum, "code": "cm"}),
        ("56115-9", "Girth, at the landmark", {"value": 80.2, "unit": "cm", "system": ucum, "code": "cm"}),
        ("8280-0", "Girth, at the landmark", {"value": 87.7, "unit": "cm", "system": ucum, "code": "cm"}),
    ]
    states = {one["code"]["text"]: one["status"] for one in found if "abdomen" in str(one.get("bodySite"))}
    assert states["Girth, 5.0 cm above the landmark"] == "corrected"
    assert states["Girth, 5.0 cm below the landmark"] == "entered-in-error"


def test_one_visit_holds_its_day_and_region_only(whole: Person) -> None:
    visit = Visit.objects.get(number=1)
    bundle = build(of_visit(visit, "Clinic"))
    assert problems(bundle) == []
    assert len(by_type(bundle, "Encounter")) == 1
    sites = {one["bodySite"]["text"] for one in by_type(bundle, "Observation") if "bodySite" in one}
    assert sites == {"abdomen", "abdomen, front"}
    planned = build(of_visit(Visit.objects.get(number=3), "Clinic"))
    assert problems(planned) == []
    assert by_type(planned, "Observation") == []
    assert len(by_type(planned, "Consent")) == 2


def _set(kind: str, path: str, value: object) -> Callable[[dict[str, Any]], None]:
    """Spoil one element of the first resource of a type; None takes it away."""

    def spoil(bundle: dict[str, Any]) -> None:
        here: Any = by_type(bundle, kind)[0]
        *steps, last = [int(step) if step.isdigit() else step for step in path.split(".")]
        for step in steps:
            here = here[step]
        if value is None:
            del here[last]
        else:
            here[last] = value

    return spoil


SPOILT = {
    "value set": (_set("Observation", "status", "done"), "Observation.status is 'done'"),
    "nested value set": (_set("Patient", "telecom.0.system", "mobile"), "Patient.telecom.system"),
    "unit": (_set("Observation", "component.1.valueQuantity.code", "Cel/min"), "no UCUM expression"),
    "unit of a profile": (_set("Observation", "valueQuantity.code", "mm"), "is given in 'mm'"),
    "qty-3": (_set("Observation", "valueQuantity.system", None), "a unit's code without its system"),
    "dangling": (_set("Observation", "subject.reference", "urn:uuid:0"), "not in the bundle"),
    "wrong target": (_set("Observation", "subject.reference", "=Device"), "points to a Device"),
    "licensed": (
        _set("Procedure", "bodySite.0.coding.0.system", "http://snomed.info/sct"),
        "is not one we may send",
    ),
    "display": (_set("Observation", "code.coding.0.display", "Body mass"), "is not how LOINC calls"),
    "unknown element": (_set("Observation", "colour", "red"), "colour"),
    "no status": (_set("Procedure", "status", None), "status"),
    "backwards": (_set("Procedure", "performedPeriod.end", "1999-01-01T00:00:00Z"), "ends before it starts"),
    "ppc-1": (_set("Consent", "policyRule", None), "neither policy nor policyRule"),
    "obs-6": (_set("Observation", "dataAbsentReason", {"text": "x"}), "a reason for having none"),
    "que-2": (_set("Questionnaire", "item.0.linkId", "=second"), "two items have one linkId"),
    "att-1": (_set("DocumentReference", "content.0.attachment.contentType", None), "without contentType"),
    "ext-1": (_set("Encounter", "extension.0.valueCode", None), "either a value or extensions"),
}  # fmt: skip


@pytest.mark.django_db
def test_the_checks_find_what_the_model_accepts(whole: Person) -> None:
    """Each fault alone in a bundle that is otherwise sound; the data model finds two of them."""
    sound = build(of_person(whole, "Clinic"))
    # first the observation with a vital-sign profile on its units
    sound["entry"].sort(key=lambda one: "8280-0" not in json.dumps(one["resource"].get("code", "")))
    assert problems(sound) == []
    for name, (spoil, words) in SPOILT.items():
        bundle = deepcopy(sound)
        spoil(bundle)
        for one in bundle["entry"]:
            if one["resource"].get("subject", {}).get("reference") == "=Device":
                one["resource"]["subject"]["reference"] = f"urn:uuid:{by_type(bundle, 'Device')[0]['id']}"
        questionnaire = by_type(bundle, "Questionnaire")[0]
        if questionnaire["item"][0]["linkId"] == "=second":
            questionnaire["item"][0]["linkId"] = questionnaire["item"][1]["linkId"]
        found = problems(bundle)
        assert any(words in one for one in found), (name, found)


def test_text_that_a_spreadsheet_would_run_is_guarded_and_comes_back(whole: Person) -> None:
    """OWASP, "CSV Injection": =, +, -, @, tab and carriage return at the start of a cell."""
    for text in ("=1+1", "+49 1", "-2 sizes", "@home", "\tx", "\rx", "\nx", "'=1", "plain", "", "'quoted"):
        assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
        assert unguarded(guarded(text)) == text
    rows = list(csv.reader(io.StringIO(written(("a", "b"), [{"a": "=x", "b": -5.0}]).decode("utf-8-sig"))))
    assert rows == [["a", "b"], ["'=x", "-5"]]


def files_of(content: bytes) -> dict[str, list[dict[str, str]]]:
    """Every table of an archive."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {
            name: list(csv.DictReader(io.StringIO(archive.read(name).decode("utf-8-sig"), newline="")))
            for name in archive.namelist()
            if name.endswith(".csv")
        }


def test_a_person_as_csv_fhir_and_pdf_each_recorded(
    whole: Person, browser: Callable[..., Client], pdftotext: Path, tmp_path: Path
) -> None:
    client = browser(Role.OWNER)
    address = f"/exchange/person/{whole.code}/"
    tables = files_of(client.post(address, {"form": "csv"}).content)
    assert tables["people.csv"][0]["other_names"] == "'=1+1"
    assert tables["courses.csv"][0]["aim"] == "'-2 sizes"
    assert [row["state"] for row in tables["visits.csv"]] == ["missed", "done", "planned"]
    assert len(tables["measurements.csv"]) == 11
    below = next(row for row in tables["measurements.csv"] if row["level_mm"] == "-50")
    assert below["level_mm"] == "-50"  # a number, so not guarded
    assert any(row["reason"] == "'+ not needed here" for row in tables["set_up.csv"])

    bundle = json.loads(client.post(address, {"form": "fhir"}).content)
    assert "data" not in by_type(bundle, "Media")[0]["content"]
    bundle = json.loads(client.post(address, {"form": "fhir", "photographs": "on"}).content)
    assert by_type(bundle, "Media")[0]["content"]["data"] == "anBlZw=="

    answer = client.post(address, {"form": "pdf"})
    assert answer["Content-Disposition"] == f'attachment; filename="person-{whole.code}.pdf"'
    (tmp_path / "one.pdf").write_bytes(answer.content)
    words = subprocess.run(
        [pdftotext, "-layout", tmp_path / "one.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    for expected in ("Ines Pallandér", whole.shown_code, "missed", "68.4 kg", "withdrawn"):
        assert expected in words

    sent = AuditEvent.objects.filter(action=Action.EXPORT).order_by("number")
    assert [(one.subject_id, one.actor, one.note) for one in sent] == [
        (whole.pk, "owner", "as CSV files"),
        (whole.pk, "owner", "as FHIR R4B bundle"),
        (whole.pk, "owner", "as FHIR R4B bundle, with pictures"),
        (whole.pk, "owner", "as PDF"),
    ]


def test_on_paper_each_visit_is_a_table_of_its_own_by_its_own_clock(
    db: None, pdftotext: Path, tmp_path: Path
) -> None:
    """Two visits run together without a number or date cannot be told apart."""
    make_demonstration()
    one = Person.objects.get(family_name="Holvat")
    (tmp_path / "one.pdf").write_bytes(paper(of_person(one, "Clinic"), length_unit="cm", demonstration=True))
    words = subprocess.run(
        [pdftotext, "-layout", tmp_path / "one.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    for visit in Visit.objects.filter(course__person=one, state="done"):
        day = date_format(timezone.localtime(visit.started_at), "SHORT_DATETIME_FORMAT")
        heading = f"During visit {visit.number} of {day}, {visit.course.region_words}"
        assert heading in words
        after = words.split(heading)[1]
        paused = 29 * 60 + 5 * (visit.pk % 7)  # as the demonstration enters it
        assert re.search(rf"{paused // 60}:{paused % 60:02d} +paused", after)
    assert words.count("When (min:s)") >= 2


def test_a_bundle_that_is_not_sound_does_not_leave_and_nothing_is_recorded(
    whole: Person, browser: Callable[..., Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(
        __import__("evenfield.clinic.exchange.fhir_bundle", fromlist=["x"])._COURSE_STATUS, "open", "begun"
    )
    answer = browser(Role.OWNER).post(f"/exchange/person/{whole.code}/", {"form": "fhir"})
    assert answer.status_code == 200
    assert "CarePlan.status is &#x27;begun&#x27;" in answer.content.decode()
    assert not AuditEvent.objects.filter(action=Action.EXPORT).exists()


def test_a_visit_of_a_merged_person_goes_out_as_the_kept_one(
    whole: Person, person: Callable[..., Person], browser: Callable[..., Client]
) -> None:
    kept = person("Ines", "Pallander")
    with acting(Actor("terminal")):
        whole.merged_into = kept
        whole.save()
    answer = browser(Role.LEAD).post(f"/exchange/visit/{Visit.objects.get(number=1).pk}/", {"form": "fhir"})
    patient = by_type(json.loads(answer.content), "Patient")
    assert [[each["value"] for each in one["identifier"]] for one in patient] == [[kept.code, whole.code]]
