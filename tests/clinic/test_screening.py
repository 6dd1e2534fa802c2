"""Screening before a visit: the outcome, what lifts a refusal, and what is kept."""

import json
from collections.abc import Callable, Iterator
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.utils import timezone
from django.utils.html import escape

from evenfield.clinic.access import Role
from evenfield.clinic.audit import triggers
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.models import AuditDetail, AuditEvent
from evenfield.clinic.audit.trail import verify_chain
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.parts import clinic_parts
from evenfield.clinic.people.leaving import EraseReason, erase
from evenfield.clinic.people.merging import merge
from evenfield.clinic.people.models import Person
from evenfield.clinic.screening.consent import DRAWING, present_text
from evenfield.clinic.screening.models import Kind, ScreeningContent, ScreeningEntry
from evenfield.clinic.screening.questions import own_questions_file, present_questions, questions_text
from evenfield.clinic.screening.recording import keep_answers, keep_consent, keep_decision
from evenfield.clinic.screening.standing import standing
from evenfield.clinic.screening.visits import needs
from evenfield.conduct.screening import Outcome, default_screening

Browsers = Callable[..., Client]
People = Callable[..., Person]
REASON = "Temperature measured again, 36.8 degrees, no fever."


@pytest.fixture(autouse=True)
def _clean_home(db: None) -> Iterator[None]:
    yield
    own_questions_file().unlink(missing_ok=True)


def given(**differing: str) -> dict[str, str]:
    """Good answers to all questions but these."""
    return {question.id: question.good.value for question in default_screening().question} | differing


def sent(**differing: str) -> dict[str, str]:
    """The same as the page sends it."""
    answers = {f"q-{name}": value for name, value in given(**differing).items()}
    return answers | {"version": default_screening().version}


@pytest.mark.parametrize(
    ("differing", "outcome", "words"),
    [
        ({}, Outcome.GO_ON, "Nothing answered speaks against going on"),
        ({"skin_today": "no"}, Outcome.ASK, "Ask the clinician first"),
        ({"implant": "not known"}, Outcome.ASK, "Ask the clinician first"),
        ({"fever": "yes", "skin_today": "no"}, Outcome.REFUSE, "No visit"),
    ],
)
def test_answers_lead_to_an_outcome_with_reason_and_source(
    browser: Browsers, person: People, differing: dict[str, str], outcome: Outcome, words: str
) -> None:
    one, client = person(), browser(Role.OPERATOR)
    page = client.post(f"/screening/{one.code}/questions/", sent(**differing), follow=True).content.decode()
    assert words in page
    now = standing(one)
    assert now.outcome is outcome
    assert now.asked_today
    for question in default_screening().question:
        assert (f"Source: {question.source}" in page) is any(
            question.source == other.source for other in default_screening().question if other.id in differing
        )
    assert now.answers
    assert now.answers.content["version"] == default_screening().version
    assert now.answers.actor == "operator"
    assert len(now.answers.content["questions"]) == len(default_screening().question)


def test_last_answers_are_shown_but_none_is_filled_in(browser: Browsers, person: People) -> None:
    one, client = person(), browser(Role.OPERATOR)
    client.post(f"/screening/{one.code}/questions/", sent())
    page = client.get(f"/screening/{one.code}/questions/").content.decode()
    assert page.count("Last time (") == len(default_screening().question)
    assert page.count('type="radio"') == 3 * len(default_screening().question)
    assert "checked" not in page


def test_every_question_must_be_answered(browser: Browsers, person: People) -> None:
    one, client = person(), browser(Role.OPERATOR)
    partly = sent()
    del partly["q-fever"]
    page = client.post(f"/screening/{one.code}/questions/", partly).content.decode()
    assert "Answer this one" in page
    assert not ScreeningEntry.objects.exists()


def test_answers_to_other_questions_than_the_present_ones_are_not_kept(
    browser: Browsers, person: People
) -> None:
    one, client = person(), browser(Role.OPERATOR)
    page = client.post(f"/screening/{one.code}/questions/", sent() | {"version": "0"}).content.decode()
    assert "questions have changed" in page
    assert not ScreeningEntry.objects.exists()


def test_only_a_lead_clinician_lifts_a_refusal_and_only_with_a_reason(
    account: Callable[..., object], browser: Browsers, person: People
) -> None:
    one, operator, owner, lead = person(), browser(Role.OPERATOR), browser(Role.OWNER), browser(Role.LEAD)
    operator.post(f"/screening/{one.code}/questions/", sent(fever="yes"))
    refusal = standing(one).deciding
    assert refusal
    lift = {"about": str(refusal.number), "decision": "go_on", "reason": REASON}
    for client in (operator, owner):
        assert client.post(f"/screening/{one.code}/decision/", lift).status_code == 403
    for weak in ({"reason": ""}, {"reason": "ok"}, {"decision": ""}):
        lead.post(f"/screening/{one.code}/decision/", lift | weak)
    lead.post(f"/screening/{one.code}/decision/", lift | {"about": str(refusal.number + 1)})
    assert standing(one).outcome is Outcome.REFUSE
    lead.post(f"/screening/{one.code}/decision/", lift)
    now = standing(one)
    assert now.outcome is Outcome.GO_ON
    assert now.decision
    assert (now.decision.actor, now.decision.content["reason"]) == ("lead_clinician", REASON)
    assert ScreeningEntry.objects.get(number=refusal.number).content["outcome"] == "refuse"


def test_a_lifted_refusal_is_never_shown_as_if_the_answers_were_good(
    browser: Browsers, person: People
) -> None:
    one, lead = person(), browser(Role.LEAD)
    lead.post(f"/screening/{one.code}/questions/", sent(implant="yes"))
    asked = standing(one).deciding
    assert asked
    lift = {"about": str(asked.number), "decision": "go_on", "reason": REASON}
    lead.post(f"/screening/{one.code}/decision/", lift)
    page = lead.get(f"/screening/{one.code}/").content.decode()
    assert "speaks against going on" not in page
    assert "The answers hold it back; a lead clinician lets it go on" in page
    assert "Is any electronic device" in page
    visit = Visit(course=Course(person=one), planned_start=timezone.now())
    need = needs([one], [visit])[visit.pk][0]
    assert (need.met, need.words) == (True, "held back by the answers, let go on by a lead clinician")


def test_answering_once_more_does_not_lift_a_refusal(terminal: Actor, person: People) -> None:
    one = person()
    first = keep_answers(one, default_screening(), given(fever="yes"))
    keep_answers(one, default_screening(), given())
    assert standing(one).outcome is Outcome.REFUSE
    keep_decision(first, go_on=True, reason=REASON)
    assert standing(one).outcome is Outcome.GO_ON
    keep_decision(first, go_on=False, reason="Lifted by mistake.")
    assert standing(one).outcome is Outcome.REFUSE


def test_a_lead_clinicians_no_to_a_question_stands_too(terminal: Actor, person: People) -> None:
    one = person()
    asked = keep_answers(one, default_screening(), given(changed="yes"))
    keep_decision(asked, go_on=False, reason="New medicine thins the blood.")
    keep_answers(one, default_screening(), given())
    assert standing(one).outcome is Outcome.REFUSE


def test_lifting_one_refusal_does_not_lift_a_later_one(terminal: Actor, person: People) -> None:
    one = person()
    first = keep_answers(one, default_screening(), given(fever="yes"))
    keep_decision(first, go_on=True, reason=REASON)
    keep_answers(one, default_screening(), given(implant="yes"))
    assert standing(one).outcome is Outcome.REFUSE


def test_a_refusal_of_a_merged_record_holds_for_the_kept_one(terminal: Actor, person: People) -> None:
    one, twin = person(), person(given="Ynes")
    keep_answers(twin, default_screening(), given(implant="yes"))
    merge(one, twin, {})
    assert standing(one).outcome is Outcome.REFUSE


def test_answers_hold_for_their_day_only(
    terminal: Actor, person: People, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = person()
    answers = keep_answers(one, default_screening(), given())
    keep_consent(one, present_text(), name="Ines Pallandér", drawing="")
    assert standing(one).may_go_on
    later = (answers.at + timedelta(days=1)).date()
    monkeypatch.setattr("django.utils.timezone.localdate", lambda: later)
    assert not standing(one).asked_today
    assert not standing(one).may_go_on


def test_nobody_signs_the_shipped_example(browser: Browsers, person: People) -> None:
    one, client = person(), browser(Role.OPERATOR)
    there, text = f"/screening/{one.code}/consent/", present_text()
    form = {"version": text.version, "agrees": "on", "name": "Ines Pallandér", "drawing": ""}
    page = client.post(there, form).content.decode()
    assert "still the shipped example, which nobody is to sign" in page
    assert "Put your own text in its place" not in page
    assert standing(one).consent is None
    lead = browser(Role.LEAD)
    assert 'href="/screening/consent-text/"' in lead.get(there).content.decode()
    lead.post(
        "/screening/consent-text/", {"text": "Our clinic's own text: you agree to be warmed, or you do not."}
    )
    client.post(there, form | {"version": present_text().version})
    assert standing(one).consent


def test_consent_is_kept_with_its_text_and_signed_anew_under_a_new_one(
    browser: Browsers, person: People, settings: Any
) -> None:
    settings.EVENFIELD_DEMONSTRATION = True  # only there the example can be signed
    one, client = person(), browser(Role.OPERATOR, Role.LEAD)
    text = present_text()
    assert text.example
    form = {"version": text.version, "agrees": "on", "name": "Ines Pallandér", "drawing": "M10 20 L30 40"}
    for lacking in ("agrees", "name"):
        client.post(f"/screening/{one.code}/consent/", {**form, lacking: ""})
    client.post(f"/screening/{one.code}/consent/", form | {"version": "older"})
    client.post(f"/screening/{one.code}/consent/", form | {"drawing": 'M1 1"/><script>'})
    assert standing(one).consent is None
    client.post(f"/screening/{one.code}/consent/", form)
    signed = standing(one).consent
    assert signed
    assert signed.content["text"] == text.text
    page = client.get(f"/screening/{one.code}/kept/{signed.number}/").content.decode()
    assert '<path d="M10 20 L30 40"' in page

    own = "Our clinic's own text, checked by our own lawyer: you agree to be warmed."
    client.post("/screening/consent-text/", {"text": own})
    assert present_text().text == own
    now = standing(one)
    assert (now.consent, now.earlier_consent) == (None, True)
    assert ScreeningEntry.objects.get(number=signed.number).content["text"] == text.text


def test_consent_can_be_taken_back(browser: Browsers, person: People) -> None:
    one, client = person(), browser(Role.OPERATOR)
    with acting(Actor("terminal")):
        keep_consent(one, present_text(), name="Ines Pallandér", drawing="")
    client.post(f"/screening/{one.code}/consent/withdraw/")
    assert standing(one).consent is None
    assert standing(one).entries[0].kind == Kind.WITHDRAWAL


def test_a_drawing_is_moves_and_lines_only() -> None:
    assert DRAWING.fullmatch("M0 0 L600 200 L1 2 M5 5 L6 6")
    for wrong in ("L1 1", "M1 1 L2", "M1 1 C1 1 2 2 3 3", "M1 1 L-2 3", "M1 1\nL2 2"):
        assert not DRAWING.fullmatch(wrong)


def test_the_clinics_own_questions_are_asked_or_the_fault_is_told(browser: Browsers, person: People) -> None:
    one, client = person(), browser(Role.OPERATOR)
    own_questions_file().write_text(
        'version = "ours 3"\ntitle = "Ours"\noverruled_by = "The manual."\n[[question]]\nid = "tea"\n'
        'ask = "Invented: too much tea?"\ngood = "no"\noutcome = "ask"\nreason = "Invented."\n'
        'source = "ours"\nlabel = "A"\n',
        encoding="utf-8",
    )
    client.post(f"/screening/{one.code}/questions/", {"version": "ours 3", "q-tea": "yes"})
    answers = standing(one).answers
    assert answers
    assert answers.content["version"] == "ours 3"
    assert standing(one).outcome is Outcome.ASK
    own_questions_file().write_text("version =", encoding="utf-8")
    page = client.get(f"/screening/{one.code}/questions/")
    assert page.status_code == 500
    assert "not TOML" in page.content.decode()


def test_entries_cannot_be_changed_and_a_change_behind_the_back_is_found(
    terminal: Actor, person: People
) -> None:
    one = person()
    entry = keep_answers(one, default_screening(), given(fever="yes"))
    assert verify_chain().holds
    softened = json.dumps(entry.content | {"outcome": "go on"})
    for model in (ScreeningEntry, ScreeningContent):
        with pytest.raises(DatabaseError), transaction.atomic():
            model._default_manager.update(subject_id=0)
        with pytest.raises(DatabaseError), transaction.atomic():
            model._default_manager.all()._raw_delete(using="default")
    table = ScreeningContent._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for name in triggers._names(table):
            cursor.execute(
                f"DROP TRIGGER {name}" + (f" ON {table}" if connection.vendor == "postgresql" else "")
            )
        cursor.execute(f"UPDATE {table} SET content = %s", [softened])
    triggers.set_triggers()
    assert verify_chain().problems == (f"{table}: content of entry {entry.number} was changed.",)


def test_erasing_removes_the_answers_and_the_chain_holds(terminal: Actor, person: People) -> None:
    one, other = person(), person(given="Yara")
    for each in (one, other):
        keep_answers(each, default_screening(), given(fever="yes"))
        keep_consent(each, present_text(), name="Signed Name", drawing="")
    handed = {part.label: part.export_person([one]) for part in clinic_parts()}["screening"]
    assert handed
    assert [entry["kind"] for entry in handed.data["screening"]] == ["answers", "consent"]
    erase(one, EraseReason.ASKED)
    assert set(ScreeningContent.objects.values_list("subject_id", flat=True)) == {other.pk}
    assert ScreeningEntry.objects.count() == 4
    assert not AuditDetail.objects.filter(content__contains="Signed Name").exists()
    found = verify_chain()
    assert found.holds, found.problems


def test_the_clinic_keeps_its_own_questions_on_a_page(browser: Browsers) -> None:
    client, there = browser(Role.LEAD), "/screening/questions-asked/"
    file = own_questions_file()
    page = client.get(there).content.decode()
    for question in default_screening().question:
        assert escape(question.source) in page
    shipped = questions_text()
    own = shipped.replace('version = "1"', 'version = "invented 2"').replace("pacemaker, ", "")
    for wrong, words in (
        (shipped.replace("pacemaker, ", ""), "give other questions another version"),
        (own.replace('good = "no"', 'good = "perhaps"', 1), "question.0.good"),
        ("version = ", "not TOML"),
    ):
        assert words in unescape(client.post(there, {"text": wrong}).content.decode())
        assert not file.exists()
    assert client.post(there, {"text": own.replace("\n", "\r\n")}).status_code == 302
    assert present_questions().version == "invented 2"
    assert "In force: version invented 2" in client.get(there).content.decode()
    file.write_text("broken = ")
    assert "Nobody can be asked until this is mended" in client.get(there).content.decode()
    assert client.post(there, {"text": shipped}).status_code == 302
    assert not file.exists()
    assert AuditEvent.objects.filter(kind="screening.questions").count() == 2
    assert verify_chain().holds
