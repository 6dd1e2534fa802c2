"""The trail on the screen: whose record, by which role, before and after, and only what was asked for."""

import re
from collections.abc import Callable
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import timezone

from evenfield.clinic.access import Role
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.audit.trail import record
from evenfield.clinic.devices.models import Device
from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.people.leaving import EraseReason, erase
from evenfield.clinic.people.merging import merge
from evenfield.clinic.people.models import Person

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(browser: Callable[..., Client]) -> Client:
    """A browser signed in as the owner."""
    return browser(Role.OWNER)


def page(client: Client, asked: str = "") -> str:
    """The page, which answers."""
    answer = client.get(f"/trail/{asked}")
    assert answer.status_code == 200
    return answer.content.decode()


def lines(text: str) -> dict[int, str]:
    """By number of the entry, the words of its line, with links as they are."""
    found = re.findall(r'<tr><td class="num" data-label="No.">(\d+)</td>(.*?)</tr>', text, re.DOTALL)
    return {
        int(number): re.sub(r"\s+", " ", re.sub(r"<(?!a |/a)[^>]*>", " ", line)) for number, line in found
    }


def last(client: Client, asked: str = "") -> str:
    """The newest line."""
    found = lines(page(client, asked))
    return found[max(found)]


def test_a_change_shows_before_and_after_whose_and_by_which_role(
    owner: Client, person: Callable[..., Person]
) -> None:
    someone = person(phone="0100 555 0101")
    with acting(Actor("levan", 7, "lead_clinician operator", "192.0.2.9")):
        someone.phone, someone.born = "0100 555 0102", None
        someone.save()
    text = page(owner)
    assert "<details><summary>" in text
    line = last(owner, "?action=update")
    assert "levan lead clinician, operator" in line
    assert "telephone before: 0100 555 0101 after: 0100 555 0102" in line
    assert "date of birth before: 1988-11-03 after: empty" in line
    assert f'<a class="code" href="/people/{someone.code}/">{someone.shown_code}</a>' in line
    assert f"changed person {someone.pk}" not in line


def test_an_account_is_named_and_its_secrets_are_never_shown(
    owner: Client, account: Callable[..., Account]
) -> None:
    one = account(Role.OPERATOR, username="sanna")
    text = page(owner, "?action=create")
    line = last(owner, "?action=create")
    assert "Somebody Invented sanna" in line
    assert "password after: not shown" in line
    for secret in (one.password, one.pin, one.instead_of("password", one.password).split()[-1]):
        assert secret not in text


def test_what_was_entered_is_text_and_no_markup(owner: Client, person: Callable[..., Person]) -> None:
    person(note="<script>alert(1)</script>")
    text = page(owner)
    assert "&lt;script&gt;alert(1)" in text
    assert "<script>alert" not in text


def test_content_of_someone_erased_is_said_to_be_erased(
    owner: Client, person: Callable[..., Person], terminal: Actor
) -> None:
    gone = person(phone="0100 555 0101")
    erase(gone, EraseReason.ASKED)
    text = page(owner, f"?person={gone.shown_code}")
    assert "0100 555 0101" not in text
    assert "phone" in text
    assert ": content erased" in text


def test_each_filter_shows_only_its_own(
    owner: Client, account: Callable[..., Account], person: Callable[..., Person]
) -> None:
    one, other, lead = person(), person(given="Other"), account(Role.LEAD)
    with acting(lead.actor("192.0.2.1")):
        record(Action.PRINT, kind="people.person", object_id=one.pk, subject_id=one.pk)
        record(Action.READ, kind="people.person", object_id=other.pk, subject_id=other.pk)
    every = {event.number: event for event in AuditEvent.objects.all()}

    def asked(words: str) -> set[int]:
        return set(lines(page(owner, words))) & set(every)

    def wanted(holds: Callable[[AuditEvent], bool]) -> set[int]:
        found = {number for number, event in every.items() if holds(event)}
        assert found
        return found

    of_one = wanted(lambda event: event.subject_id == one.pk)
    for code in (one.code, one.shown_code.lower()):
        assert asked(f"?person={code}") == of_one
    assert asked(f"?record={one.pk}") == of_one
    assert asked(f"?staff={lead.pk}") == wanted(lambda event: event.actor_id == lead.pk)
    assert asked("?staff=nobody") == wanted(lambda event: event.actor_id is None)
    assert asked("?action=print") == wanted(lambda event: event.action == "print")
    today = timezone.localdate()
    assert asked(f"?day={today}") == set(every)
    assert asked(f"?day={today - timedelta(days=1)}") == asked(f"?day={today + timedelta(days=1)}") == set()
    assert len(asked(f"?person={one.code}&staff={lead.pk}&day={today}&action=print")) == 1
    assert asked(f"?person={other.code}&staff={lead.pk}&action=print") == set()
    assert "No record has this code" in page(owner, "?person=000000")
    assert lines(page(owner, "?person=000000")) == {}
    for unknown in ("999999", "1" * 40, "²", "x"):
        assert lines(page(owner, f"?record={unknown}")) == {}
        assert page(owner, f"?before={unknown}")
    assert 'class="wrong"' in page(owner, "?action=nothing")
    assert lines(page(owner, "?action=nothing")) == {}
    assert lines(page(owner, "?day=tomorrow")) == {}


def test_the_day_is_the_clinics_own(owner: Client, terminal: Actor) -> None:
    """An entry of 23:30 UTC on one day is of the next one in Auckland."""
    clinic = Clinic.objects.first() or Clinic()
    clinic.time_zone = "Pacific/Auckland"
    clinic.save()
    record(Action.PRINT)
    at = AuditEvent.objects.filter(action="print").latest("number").at
    there = timezone.localtime(at, timezone=ZoneInfo("Pacific/Auckland")).date()
    assert lines(page(owner, f"?action=print&day={there}"))
    assert not lines(page(owner, f"?action=print&day={there - timedelta(days=1)}"))


def test_after_a_merge_the_trail_of_either_is_the_trail_of_both(
    owner: Client, person: Callable[..., Person], terminal: Actor
) -> None:
    one, twin = person(), person(given="Ynes")
    record(Action.PRINT, kind="people.person", object_id=twin.pk, subject_id=twin.pk)
    merge(one, twin, {})
    both = set(AuditEvent.objects.filter(subject_id__in=[one.pk, twin.pk]).values_list("number", flat=True))
    for asked in (f"?record={one.pk}", f"?record={twin.pk}", f"?person={one.code}", f"?person={twin.code}"):
        assert set(lines(page(owner, asked))) == both


def test_earlier_entries_keep_what_was_asked_for(owner: Client, terminal: Actor) -> None:
    for place in range(60):
        Device(name=f"Device {place}").save()
        record(Action.READ)
    text = page(owner, "?action=create&staff=nobody")
    assert len(lines(text)) == 50
    link = re.search(r'href="(\?[^"]*)">Earlier', text)
    assert link
    earlier = lines(page(owner, link.group(1).replace("&amp;", "&")))
    assert len(earlier) >= 10
    assert max(earlier) < min(lines(text))
    assert all("created" in line for line in earlier.values())


def test_looking_at_the_trail_is_an_entry(owner: Client, person: Callable[..., Person]) -> None:
    page(owner, f"?person={person().code}")
    event = AuditEvent.objects.latest("number")
    assert (event.action, event.kind) == ("read", "audit.auditevent")
