"""When a visit may begin, what is asked about, and how a beginning is taken back."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from evenfield.clinic.access import Role
from evenfield.clinic.audit.compared import rows_unlike_the_trail
from evenfield.clinic.audit.trail import verify_chain
from evenfield.clinic.courses.models import Course, Visit, VisitState
from evenfield.clinic.courses.visits import VisitError, begin_visit, end_visit
from evenfield.clinic.devices.models import Device, TreatmentRoom
from evenfield.clinic.people.merging import merge
from evenfield.clinic.people.models import Person
from evenfield.clinic.screening.recording import keep_answers
from evenfield.clinic.setup_check import runs as setups
from evenfield.clinic.visits.doubts import doubts_before
from evenfield.clinic.visits.models import VisitEntry
from evenfield.clinic.visits.recording import take_batch
from evenfield.clinic.visits.running import begin, running
from evenfield.conduct.screening import default_screening
from evenfield.conduct.setup import default_checklist
from tests.clinic.entries import entry, sending


def test_a_visit_begins_only_when_screening_consent_and_set_up_allow(
    visit: Visit, browser: Callable[..., Client]
) -> None:
    person = visit.person
    run = setups.present_run(person)
    assert run
    setups.begin(person)  # a new set-up with every line open
    with pytest.raises(VisitError, match="set-up: 11 lines open"):
        begin(visit)
    client = browser(Role.OPERATOR)
    client.post(f"/visits/{visit.pk}/begin/")
    page = client.get(f"/visits/{visit.pk}/").content.decode()
    assert "Begin the visit</button>" not in page
    assert "11 lines open" in page
    visit.refresh_from_db()
    assert visit.state == VisitState.PLANNED
    questions = default_screening()
    keep_answers(person, questions, {one.id: one.good.value for one in questions.question} | {"fever": "yes"})
    with pytest.raises(VisitError, match="screening: the answers hold the visit back"):
        begin(visit)


def test_a_visit_of_a_merged_record_begins_by_the_answers_of_the_kept_one(
    visit: Visit, person: Callable[..., Person], browser: Callable[..., Client]
) -> None:
    """Else a refusal given under the kept record would stop nothing."""
    kept, questions = person("Ynes", "Palander"), default_screening()
    merge(kept, visit.person, {})
    good = {one.id: one.good.value for one in questions.question}
    keep_answers(kept, questions, good | {"implant": "yes"})
    merged = Visit.objects.get(pk=visit.pk)
    with pytest.raises(VisitError, match="screening: the answers hold the visit back"):
        begin(merged)
    page = browser(Role.OPERATOR).get(f"/visits/{visit.pk}/").content.decode()
    assert "Begin the visit</button>" not in page
    assert "Ynes Palander" in page


def ready_for(person: Person, region: str = "") -> None:
    """All asked, and gone through for one region."""
    questions = default_screening()
    keep_answers(person, questions, {one.id: one.good.value for one in questions.question})
    run = setups.begin(person, region)
    for line in default_checklist().line:
        setups.tick(person, run.number, line.id, done=True)


def another(visit: Visit, region: str = "abdomen", **said: Any) -> Visit:
    """Another visit of the same person, now."""
    course = Course(person=visit.person, region=region, visits_planned=6, spacing_days=14)
    course.save()
    told = {"planned_start": timezone.now(), "minutes": 60} | said
    made = Visit(course=course, number=1, **told)
    made.save()
    return made


def over(visit: Visit) -> None:
    visit.refresh_from_db()
    end_visit(visit)


def test_answers_and_set_up_hold_for_one_visit(visit: Visit, browser: Callable[..., Client]) -> None:
    """Practice: the questions are asked and the set-up is gone through before every visit."""
    other = another(visit)
    begin(visit)
    over(visit)
    with pytest.raises(VisitError, match=r"screening: not asked anew .*; set-up: not gone through"):
        begin(other)
    client = browser(Role.OPERATOR)
    page = client.get(f"/visits/{other.pk}/").content.decode()
    assert "not asked anew since the last visit began" in page
    ready_for(other.person, "thigh")
    with pytest.raises(VisitError, match="set-up: gone through for thigh, not for abdomen"):
        begin(other)
    ready_for(other.person, "abdomen")
    assert begin(other).state == VisitState.RUNNING


def test_no_visit_begins_while_another_of_the_same_person_runs(
    visit: Visit, person: Callable[..., Person]
) -> None:
    other = another(visit)
    begin(visit)
    ready_for(other.person)
    with pytest.raises(VisitError, match=r"^Another visit of this person is running \(thigh\)\.$"):
        begin(other)
    kept = person("Ynes", "Palander")  # the same under a merged record
    merge(kept, visit.person, {})
    ready_for(kept)
    with pytest.raises(VisitError, match="Another visit of this person is running"):
        begin(Visit.objects.get(pk=other.pk))


def test_a_visit_of_another_day_begins_only_if_confirmed_with_a_reason(
    visit: Visit, browser: Callable[..., Client]
) -> None:
    visit.planned_start = timezone.now() + timedelta(days=3)
    visit.save()
    client, there = browser(Role.OPERATOR), f"/visits/{visit.pk}/"
    page = client.get(there).content.decode()
    assert f"planned for {timezone.localtime(visit.planned_start):%a}" in page
    doubts = re.findall('name="despite" value="([^"]+)"', page)
    assert len(doubts) == 1
    assert "not for today" in doubts[0]
    for told in ({}, {"despite": doubts, "reason": " "}, {"reason": "They came today."}):
        client.post(f"{there}begin/", told)
        visit.refresh_from_db()
        assert visit.state == VisitState.PLANNED
    client.post(f"{there}begin/", {"despite": doubts, "reason": "They came today."})
    visit.refresh_from_db()
    assert visit.state == VisitState.RUNNING
    assert running(visit).rows[0].content["reason"] == "They came today."
    assert running(visit).rows[0].content["despite"] == doubts
    assert "They came today." in client.get(reverse("visit", args=[visit.pk])).content.decode()


def test_a_room_or_device_in_use_is_asked_about(
    visit: Visit, person: Callable[..., Person], browser: Callable[..., Client]
) -> None:
    room, device = TreatmentRoom(name="Blue room"), Device(name="Warmer")
    room.save()
    device.save()
    elsewhere = another(Visit(course=Course(person=person("Ada", "Quist"))), room=room, device=device)
    begin_visit(elsewhere)
    visit.room, visit.device = room, device
    visit.save()
    with pytest.raises(VisitError, match=r"Blue room is in use .* Warmer is in use .* say why"):
        begin(visit)
    assert begin(visit, doubts_before(visit), "They are just leaving.").reason == "They are just leaving."


def test_a_visit_begun_by_mistake_goes_back_while_the_field_was_never_on(
    visit: Visit, browser: Callable[..., Client]
) -> None:
    begun, client = begin(visit), browser(Role.OPERATOR)
    take_batch(begun.pk, sending(entry("note", "noted", text="wrong region")))
    there = f"/visits/{begun.pk}/take-back/"
    assert "Begun by mistake" in client.get(f"/visits/{begun.pk}/close/").content.decode()
    client.post(there, {"reason": " "})
    visit.refresh_from_db()
    assert visit.state == VisitState.RUNNING
    client.post(there, {"reason": "The other thigh was meant."})
    visit.refresh_from_db()
    assert (visit.state, visit.started_at) == (VisitState.PLANNED, None)
    assert client.get(f"/visits/{visit.pk}/now/?after=0").status_code == 404
    kept = list(VisitEntry.objects.filter(visit=visit).order_by("number"))
    assert [one.kind for one in kept] == ["begin", "noted", "taken_back"]
    assert kept[-1].content["reason"] == "The other thigh was meant."
    again = begin(visit)  # by the same answers and set-up: nothing used them up
    assert [row.kind for row in running(again).rows] == ["begin"]
    take_batch(again.pk, sending(entry("start", "started"), entry("off", "correction", of="entry-start")))
    assert "cannot be taken back" in client.get(there).content.decode()
    page = client.post(there, {"reason": "x"}).content.decode()
    assert "The field was on" in page
    again.refresh_from_db()
    assert again.state == VisitState.RUNNING
    assert verify_chain().holds
    assert rows_unlike_the_trail() == []
