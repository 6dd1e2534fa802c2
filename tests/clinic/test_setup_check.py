"""The set-up before a visit: working order, who and when, skipping only with a reason."""

from collections.abc import Callable
from datetime import timedelta
from html import escape

import pytest
from django.db import DatabaseError, transaction
from django.test import Client

from evenfield.clinic.access import Role
from evenfield.clinic.audit.actor import Actor
from evenfield.clinic.audit.trail import verify_chain
from evenfield.clinic.people.leaving import EraseReason, erase
from evenfield.clinic.people.models import Person
from evenfield.clinic.setup_check.models import SetupContent, SetupEntry
from evenfield.clinic.setup_check.runs import Run, begin, present_run, tick
from evenfield.conduct.setup import SetupError, default_checklist

pytestmark = pytest.mark.django_db
LINES = [line.id for line in default_checklist().line]


def now(person: Person) -> Run:
    """The present set-up, which there is."""
    run = present_run(person)
    assert run
    return run


def test_from_begin_to_the_last_line_through_the_pages(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    one, first, second = person(), browser(Role.OPERATOR), browser(Role.LEAD)
    address = f"/set-up/{one.code}/"
    assert "Nothing is ticked beforehand" in first.get(address).content.decode()
    first.post(f"{address}begin/")
    page = first.get(address).content.decode()
    assert f"{len(LINES)} open" in page
    places = [page.index(f'aria-label="Done: {escape(line.text)}"') for line in default_checklist().line]
    assert places == sorted(places)
    run = str(now(one).begun.number)
    for line in LINES[:-1]:
        first.post(f"{address}tick/", {"run": run, "line": line, "how": "done"})
    empty = {"run": run, "line": LINES[-1], "how": "skip", "reason": "  "}
    assert "skipped without a reason" in first.post(f"{address}tick/", empty, follow=True).content.decode()
    assert now(one).ready().open == (LINES[-1],)
    second.post(f"{address}tick/", empty | {"reason": "Told by the lead clinician already."})
    ready = now(one).ready()
    assert ready.complete
    assert ready.skipped == ((LINES[-1], "Told by the lead clinician already."),)
    assert [(step.tick.actor if step.tick else "") for step in now(one).steps()] == [
        *["operator"] * (len(LINES) - 1),
        "lead_clinician",
    ]
    assert "Every line is done or skipped with a reason" in first.get(address).content.decode()


def test_a_button_pressed_twice_is_one_tick_and_the_last_one_counts(
    terminal: Actor, person: Callable[..., Person]
) -> None:
    one = person()
    run = begin(one).number
    assert tick(one, run, "fan", done=True)
    assert tick(one, run, "fan", done=True) is None
    assert tick(one, run, "fan", done=False, reason="It was the wrong room's fan.")
    assert [entry.content["done"] for entry in now(one).ticks] == [True, False]
    assert now(one).ready().skipped == (("fan", "It was the wrong room's fan."),)


def test_what_cannot_be_ticked(
    terminal: Actor, person: Callable[..., Person], monkeypatch: pytest.MonkeyPatch
) -> None:
    one = person()
    old = begin(one)
    new = begin(one)
    for number, line, words in ((new.number, "tea", "allowed are"), (old.number, "fan", "is over")):
        with pytest.raises(SetupError, match=words):
            tick(one, number, line, done=True)
    tomorrow = now(one).day + timedelta(days=1)
    monkeypatch.setattr("django.utils.timezone.localdate", lambda: tomorrow)
    assert present_run(one) is None
    with pytest.raises(SetupError, match="is over"):
        tick(one, new.number, "fan", done=True)
    assert SetupEntry.objects.count() == 2


def test_ticks_are_append_only_and_erasing_leaves_the_chain(
    terminal: Actor, person: Callable[..., Person]
) -> None:
    one = person()
    tick(one, begin(one).number, "told", done=False, reason="Invented reason.")
    for model in (SetupEntry, SetupContent):
        with pytest.raises(DatabaseError), transaction.atomic():
            model._default_manager.update(subject_id=0)
    erase(one, EraseReason.ASKED)
    assert not SetupContent.objects.exists()
    assert SetupEntry.objects.count() == 2
    found = verify_chain()
    assert found.holds, found.problems
