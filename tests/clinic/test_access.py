"""Every route, for every role and for nobody, against the table in access_table.py."""

import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import URLPattern, reverse

from evenfield.clinic.access import Role, every_route_states_who_may_use_it, grants, routes, rule_of
from evenfield.clinic.accounts.models import Account, DeviceSession
from evenfield.clinic.courses.models import Visit
from evenfield.clinic.parts import ClinicPart
from evenfield.clinic.people.models import Person
from evenfield.clinic.whole_numbers import whole_number
from tests.clinic.access_table import MAY, NOBODY
from tests.clinic.conftest import signed_in

EVERYBODY = [*Role, NOBODY]


def address(route: URLPattern, account: Account, person: Person) -> str:
    """An address of this route that leads to something there is."""
    examples = {
        "number": account.pk,
        "code": person.code,
        "token": "no-such-token",
        "kind": "people",
        "rest": "x",
    }
    wanted = route.pattern.converters
    return reverse(str(route.name), kwargs={name: examples[name] for name in wanted})


def test_the_table_names_every_route_and_no_other() -> None:
    assert sorted(MAY) == sorted(str(route.name) for route in routes())


@pytest.mark.slow
@pytest.mark.parametrize("who", EVERYBODY)
def test_each_route_answers_those_in_the_table_and_refuses_the_others(
    who: str, account: Callable[..., Account], person: Callable[..., Person]
) -> None:
    """With GET and with POST: never an answer where the table says no, never a refusal where it says yes."""
    someone = person()
    other = account(Role.OPERATOR, username="other")
    me = None if who == NOBODY else account(Role(who), username="me")
    wrong = []
    client = Client()
    for route in routes():
        for method in ("get", "post"):
            if me and (
                "_auth_user_id" not in client.session
                or DeviceSession.objects.filter(locked=True).update(locked=False)
            ):
                client = signed_in(me)  # the last route ended or locked the session
            answer = getattr(client, method)(address(route, other, someone))
            refused = answer.status_code in {401, 403} or (
                me is None and answer.status_code == 302 and answer["Location"].startswith("/sign-in/?next=")
            )
            assert answer.status_code in {200, 204, 302, 401, 403, 404, 405}, (route.name, method)
            if refused is (who in MAY[str(route.name)]):
                wrong.append((route.name, method, answer.status_code))
    assert not wrong


def test_a_script_that_is_not_signed_in_is_told_so_and_not_sent_to_a_page(db: None) -> None:
    answer = Client().post("/touch/", headers={"X-Requested-With": "evenfield"})
    assert answer.status_code == 401


def test_a_route_without_a_mark_stops_the_program_at_start(monkeypatch: pytest.MonkeyPatch) -> None:
    assert every_route_states_who_may_use_it() == []
    view = next(routes()).callback
    monkeypatch.delattr(view, "access_rule")
    assert rule_of(view) is None
    assert [problem.id for problem in every_route_states_who_may_use_it()] == ["evenfield.E001"]


def test_a_view_without_a_mark_is_not_served(
    browser: Callable[..., Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    client = browser(*Role)
    home = next(route for route in routes() if route.name == "home")
    monkeypatch.delattr(home.callback, "access_rule")
    client.raise_request_exception = False
    assert client.get("/").status_code == 500


def test_every_permission_granted_is_used_by_some_view_or_template() -> None:
    """A permission that nothing asks for would only look like protection."""
    asked = {rule.permission for route in routes() if (rule := rule_of(route.callback))}
    assert set(grants()) <= asked
    assert all(re.fullmatch(r"[a-z]+\.[a-z_]+", name) for name in grants())
    assert ClinicPart.grants == {}


def test_a_refusal_is_recorded(browser: Callable[..., Client]) -> None:
    from evenfield.clinic.audit.models import Action, AuditEvent

    browser(Role.TRAINER).get("/people/")
    refusal = AuditEvent.objects.get(action=Action.REFUSED)
    assert (refusal.actor, refusal.note, refusal.address) == ("trainer", "people.view at people", "127.0.0.1")


@pytest.mark.parametrize("number", ["²", "-1", "x", "9" * 40, "٣"])
def test_a_number_that_is_none_is_no_error(browser: Callable[..., Client], visit: Visit, number: str) -> None:
    """Characters that count as digits elsewhere ("²") are no number here."""
    assert whole_number(number) is None
    client = browser(*Role)
    asked = {
        "/trail/": ("before", "record"),
        f"/planning/visit/{visit.pk}/": ("device",),
        "/courses/open/": ("from",),
    }
    for path, names in asked.items():
        for name in names:
            assert client.get(path, {name: number}).status_code == 200, (path, name)


def test_a_number_is_read() -> None:
    assert [whole_number(text) for text in ("0", "17", "")] == [0, 17, None]
