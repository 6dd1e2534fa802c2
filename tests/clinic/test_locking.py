"""A shared tablet locks itself, the PIN leads back, and nothing on the screen is lost."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from urllib.parse import quote, quote_plus

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from evenfield.clinic.access import Role, routes, rule_of
from evenfield.clinic.accounts.middleware import PENDING
from evenfield.clinic.accounts.models import Account, DeviceSession
from evenfield.clinic.audit.models import AuditEvent
from evenfield.clinic.people.models import Person
from tests.clinic.conftest import PASSWORD, PIN, signed_in

FROM_SCRIPT = {"X-Requested-With": "evenfield"}


def idle_for(minutes: float) -> None:
    """Nobody has been at any device for so long."""
    DeviceSession.objects.update(last_active=timezone.now() - timedelta(minutes=minutes))


def test_it_locks_after_the_clinics_time_and_not_before(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    idle_for(4.9)
    assert client.get("/people/").status_code == 200
    idle_for(5.1)
    answer = client.get("/people/")
    assert (answer.status_code, answer["Location"]) == (302, "/locked/?next=%2Fpeople%2F")
    assert client.get("/people/add/").status_code == 302


def test_a_touch_keeps_it_open(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    idle_for(4.5)
    assert client.post("/touch/", headers=FROM_SCRIPT).status_code == 204
    assert timezone.now() - DeviceSession.objects.get().last_active < timedelta(seconds=30)


def test_while_locked_scripts_are_refused_and_told_why(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    client.post("/locked/now/")
    answer = client.post("/people/", {"text": "ines"}, headers=FROM_SCRIPT)
    assert (answer.status_code, answer.json()) == (423, {"locked": True})
    assert client.post("/touch/", headers=FROM_SCRIPT).status_code == 423


def test_the_pin_or_the_password_leads_back_to_where_one_was(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    for secret in (PIN, PASSWORD):
        client.post("/locked/now/")
        answer = client.post("/locked/", {"secret": secret, "next": "/people/add/"})
        assert answer["Location"] == "/people/add/"
        assert client.get("/people/add/").status_code == 200


def test_a_wrong_pin_is_counted_and_the_fifth_signs_the_device_out(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    client.post("/locked/now/")
    for left in (4, 3, 2, 1):
        answer = client.post("/locked/", {"secret": "111222"}, headers=FROM_SCRIPT)
        assert (answer.status_code, answer.json()) == (423, {"locked": True, "left": left})
    assert client.post("/locked/", {"secret": "111222"}, headers=FROM_SCRIPT).status_code == 401
    assert client.post("/locked/", {"secret": PIN}, headers=FROM_SCRIPT).status_code == 401
    assert DeviceSession.objects.get().ended


def test_wrong_tries_are_forgotten_after_a_right_one(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    for _ in range(3):
        client.post("/locked/now/")
        client.post("/locked/", {"secret": "111222"})
        client.post("/locked/", {"secret": "111222"})
        assert client.post("/locked/", {"secret": PIN}).status_code == 302


def test_what_was_sent_without_script_while_locked_can_be_sent_again(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    idle_for(6)
    sent = {
        "given_name": "Ines",
        "family_name": "O'Pallandér & Co",
        "born": "1988-11-03",
        "note": "two\nlines",
    }
    assert client.post("/people/add/", sent)["Location"] == "/locked/"
    assert not Person.objects.exists()
    assert client.post("/locked/", {"secret": PIN})["Location"] == "/locked/resume/"
    page = client.get("/locked/resume/").content.decode()
    assert 'action="/people/add/"' in page
    assert 'value="O&#x27;Palland\u00e9r &amp; Co"' in page
    assert "two\nlines" in page
    assert "two\nlines" in client.get("/locked/resume/").content.decode()  # also after a reload
    client.post("/locked/now/")
    client.post("/locked/resume/")  # declined from a page that was open, but the screen is locked again
    assert client.post("/locked/", {"secret": PIN})["Location"] == "/locked/resume/"
    client.post("/people/add/", sent)
    assert Person.objects.get().note == "two\nlines"
    assert client.get("/locked/resume/").status_code == 302, "sent, and gone"


def test_what_was_sent_while_locked_can_be_left(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    idle_for(6)
    client.post("/people/add/", {"given_name": "Ines"})
    client.post("/locked/", {"secret": PIN})
    assert "Leave it" in client.get("/locked/resume/").content.decode()
    assert client.post("/locked/resume/")["Location"] == "/"
    assert client.get("/locked/resume/").status_code == 302
    assert not Person.objects.exists()


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"given_name": "Ines", "note": "x" * 250_000}, "not sent, as the screen was locked: type it again"),
        (
            {"given_name": "Ines", "picture": SimpleUploadedFile("a.jpg", b"invented")},
            "not sent, as the screen was locked: choose the file and type the rest again",
        ),
    ],
)
def test_what_is_too_large_to_be_kept_leads_back_to_its_form_and_says_so(
    browser: Callable[..., Client], sent: dict[str, Any], words: str
) -> None:
    client = browser(Role.OPERATOR)
    idle_for(6)
    headers = {"Referer": "http://testserver/people/add/?from=x"}
    there = client.post("/people/", sent, headers=headers)["Location"]
    assert there == "/locked/?next=%2Fpeople%2Fadd%2F%3Ffrom%3Dx"
    page = client.post("/locked/", {"secret": PIN, "next": "/people/add/?from=x"}, follow=True)
    assert page.redirect_chain == [("/people/add/?from=x", 302)]
    assert words in page.content.decode()
    idle_for(6)
    elsewhere = {"Referer": "http://elsewhere.example/people/add/"}
    assert client.post("/people/", sent, headers=elsewhere)["Location"] == "/locked/?next=%2Fpeople%2F"


SECRETS = {
    "/account/password/": {"password": PASSWORD, "new_password": "nine grey herons at high tide"},
    "/account/pin/": {"password": PASSWORD, "pin": "918273"},
    "/account/codes/": {"password": PASSWORD, "code": "123456"},
    "/account/codes/stop/": {"password": PASSWORD},
    "/api/tokens/": {"name": "wall", "days": "30", "password": PASSWORD},
}


@pytest.mark.parametrize("path", SECRETS)
def test_secrets_sent_while_locked_are_not_kept(browser: Callable[..., Client], path: str) -> None:
    client = browser(Role.OPERATOR)
    idle_for(6)
    there = client.post(path, SECRETS[path])["Location"]
    assert there == f"/locked/?next={quote(path, safe='')}"
    assert PENDING not in client.session
    kept = str(dict(client.session.items()))
    assert PASSWORD not in kept
    assert quote_plus(PASSWORD) not in kept
    page = client.post("/locked/", {"secret": PIN, "next": path}, follow=True)
    assert "not sent, as the screen was locked: type it again" in page.content.decode()


def test_every_page_that_asks_for_a_password_is_marked(browser: Callable[..., Client]) -> None:
    """The others' entries are kept while the screen is locked, in the session's row."""
    client, unmarked = browser(*Role), []
    for route in routes():
        if route.pattern.converters or (rule := rule_of(route.callback)) is None or rule.while_locked:
            continue
        page = client.get(reverse(str(route.name)))
        asked = re.findall(r'<input type="password" name="(\w+)"', page.content.decode(errors="replace"))
        if asked and not getattr(route.callback, "holds_secrets", False):
            unmarked.append(route.name)
    assert unmarked == []


def test_the_pin_opens_no_other_door(account: Callable[..., Account]) -> None:
    account(Role.OPERATOR, username="oriel")
    answer = Client().post("/sign-in/", {"username": "oriel", "password": PIN})
    assert answer.status_code == 200


def test_someone_else_can_sign_out_a_locked_device(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    client.post("/locked/now/")
    assert client.post("/sign-out/")["Location"] == "/sign-in/"


def test_one_locked_device_does_not_lock_another(account: Callable[..., Account]) -> None:
    ours = account(Role.OPERATOR)
    here, there = signed_in(ours), signed_in(ours)
    here.post("/locked/now/")
    assert there.get("/people/").status_code == 200


def test_locking_and_unlocking_are_in_the_trail(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    client.post("/locked/now/")
    client.post("/locked/", {"secret": "111222"})
    client.post("/locked/", {"secret": PIN})
    actions = AuditEvent.objects.order_by("number").values_list("action", flat=True)
    assert list(actions)[-3:] == ["lock", "sign-in-failed", "unlock"]
