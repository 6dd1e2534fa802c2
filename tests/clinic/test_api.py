"""The JSON API: tokens, permissions, every operation, and its OpenAPI document under fuzzing."""

import json
import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from evenfield.clinic.access import Role
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.api import tokens
from evenfield.clinic.api.endpoints import PREFIX
from evenfield.clinic.api.models import ApiToken
from evenfield.clinic.api.tokens import end_token, make_token
from evenfield.clinic.api.urls import api  # with its operations
from evenfield.clinic.api.views import PERMISSIONS
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.models import Action, AuditDetail, AuditEvent
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.people.leaving import EraseReason, erase
from evenfield.clinic.people.models import Person
from tests.clinic.access_table import MAY_BY_TOKEN, NOBODY
from tests.clinic.conftest import PASSWORD, signed_in


class Program:
    """Another program with a token."""

    def __init__(self, secret: str) -> None:
        self._client, self._headers = Client(), {"Authorization": f"Bearer {secret}"}

    def get(self, path: str) -> Any:
        """The answer to a GET."""
        return self._client.get(PREFIX + path, headers=self._headers)

    def post(self, path: str, body: object) -> Any:
        """The answer to a POST of JSON."""
        content = body if isinstance(body, (str, bytes)) else json.dumps(body)
        return self._client.post(PREFIX + path, content, "application/json", headers=self._headers)


@pytest.fixture
def program(account: Callable[..., Account]) -> Callable[..., Program]:
    """A program by a token of an account with these roles, with all permissions or those named."""

    def make(*roles: Role, permissions: tuple[str, ...] = tuple(PERMISSIONS)) -> Program:
        one = account(*roles)
        with acting(one.actor("")):
            return Program(make_token(one, "a program", permissions, 30))

    return make


def in_days(days: int) -> str:
    """A time of a day to come, with its offset."""
    return (timezone.now() + timedelta(days=days)).replace(hour=10, minute=0, second=0).isoformat()


@pytest.fixture
def course(person: Callable[..., Person], account: Callable[..., Account]) -> Course:
    """A course with one visit."""
    one = person()
    with acting(account(Role.LEAD, username="lead").actor("")):
        made = Course(person=one, region="thigh", side="left", visits_planned=2, spacing_days=14)
        made.save()
        Visit(course=made, number=1, planned_start=timezone.now() + timedelta(days=3), minutes=60).save()
    return made


def operations() -> dict[str, str]:
    """Every operation of the document, and the permission it states."""
    paths = api.get_openapi_schema(path_prefix=PREFIX)["paths"]
    return {
        f"{method.upper()} {path.removeprefix(PREFIX)}": said["x-permission"]
        for path, methods in paths.items()
        for method, said in methods.items()
    }


def test_the_table_names_every_operation_and_no_other() -> None:
    assert sorted(operations()) == sorted(MAY_BY_TOKEN)
    assert set(operations().values()) == set(PERMISSIONS)


@pytest.mark.parametrize("who", [*Role, NOBODY])
def test_each_operation_answers_those_in_the_table_and_refuses_the_others(
    who: str, program: Callable[..., Program], course: Course
) -> None:
    """A token that states every permission still does no more than its owner may."""
    one = Program("evf_wrong") if who == NOBODY else program(Role(who))
    wrong = []
    for name in operations():
        method, path = name.split()
        number = course.pk if path.startswith("courses") else course.visits.get().pk
        path = path.format(code=course.person.code, number=number)
        if path == "visits":
            path = "visits?first=2024-01-01&last=2024-02-01"
        answer = one.get(path) if method == "GET" else one.post(path, {})
        refused = answer.status_code == (401 if who == NOBODY else 403)
        assert refused or answer.status_code in {200, 422}, (name, answer.content)
        if refused is (who in MAY_BY_TOKEN[name]):
            wrong.append((name, answer.status_code))
    assert not wrong


@pytest.mark.parametrize("permission", PERMISSIONS)
def test_a_token_does_only_what_it_states(
    permission: str, program: Callable[..., Program], course: Course
) -> None:
    one = program(Role.OWNER, permissions=(permission,))
    for name, needed in operations().items():
        method, path = name.split()
        path = path.format(code=course.person.code, number=course.pk)
        answer = one.get(path) if method == "GET" else one.post(path, {})
        assert (answer.status_code == 403) is (needed != permission), name
    refusal = AuditEvent.objects.filter(action=Action.REFUSED).latest("number")
    assert refusal.actor == "owner"
    assert re.fullmatch(r"[a-z_.]+ by token \d+", refusal.note)
    assert refusal.address == "127.0.0.1, token 1" or refusal.address.startswith("127.0.0.1, token ")


def test_a_token_ends_with_its_time_its_owner_or_its_end(account: Callable[..., Account]) -> None:
    owner = account(Role.OPERATOR)
    with acting(owner.actor("")):
        secret = make_token(owner, "a program", ["people.view"], 30)
        token, one = ApiToken.objects.get(), Program(secret)
        assert one.post("people/find", {"text": "x"}).status_code == 200
        token.expires = timezone.now() - timedelta(seconds=1)
        token.save()
        assert one.post("people/find", {"text": "x"}).status_code == 401
        token.expires = timezone.now() + timedelta(days=1)
        token.save()
        owner.is_active = False
        owner.save()
        assert one.post("people/find", {"text": "x"}).status_code == 401
        owner.is_active, owner.roles = True, frozenset({Role.TRAINER})
        owner.save()
        assert one.post("people/find", {"text": "x"}).status_code == 403
        owner.roles = frozenset({Role.OPERATOR})
        owner.save()
        assert one.post("people/find", {"text": "x"}).status_code == 200
        end_token(token)
    answer = one.post("people/find", {"text": "x"})
    assert (answer.status_code, answer["WWW-Authenticate"]) == (401, "Bearer")


def test_the_secret_is_shown_once_and_kept_nowhere(
    browser: Callable[..., Client], account: Callable[..., Account]
) -> None:
    client = browser(Role.OPERATOR)
    asked = {"name": "a program", "permissions": ["people.view"], "days": "90", "password": PASSWORD}
    assert "not your password" in client.post("/api/tokens/", {**asked, "password": "x"}).content.decode()
    assert not ApiToken.objects.exists()
    too_much = client.post("/api/tokens/", {**asked, "permissions": ["exchange.send"]}).content.decode()
    assert "“exchange.send” is not one of the choices" in too_much
    page = client.post("/api/tokens/", asked).content.decode()
    secret = re.search(r"evf_[A-Za-z0-9_-]{43}", page)
    assert secret
    assert Program(secret[0]).post("people/find", {"text": "x"}).status_code == 200
    assert secret[0] not in client.get("/api/tokens/").content.decode()
    token = ApiToken.objects.get()
    kept = " ".join(AuditDetail.objects.values_list("content", flat=True))
    assert secret[0] not in kept
    assert token.digest not in kept
    other = signed_in(account(Role.OPERATOR, username="other"))
    assert other.post(f"/api/tokens/{token.pk}/end/").status_code == 404
    owner = signed_in(account(Role.OWNER))
    assert "a program" in owner.get("/api/tokens/all/").content.decode()
    owner.post(f"/api/tokens/{token.pk}/end/")
    assert Program(secret[0]).post("people/find", {"text": "x"}).status_code == 401


def test_a_session_of_the_pages_counts_for_nothing(browser: Callable[..., Client]) -> None:
    """So that no page elsewhere can use a signed-in browser against the API."""
    assert browser(*Role).post("/api/people/find", "{}", "application/json").status_code == 401


def test_people_are_found_added_and_read(program: Callable[..., Program]) -> None:
    one = program(Role.OPERATOR)
    new = {"given_name": "Maruška", "family_name": "Holvat", "born": "1979-02-28", "phone": "0100 555 0103"}
    added = one.post("people", new)
    assert added.status_code == 201
    assert added.json()["born"] == "1979-02-28"
    again = one.post("people", {**new, "given_name": "Marushka"})
    assert again.status_code == 409
    assert [match["person"]["code"] for match in again.json()["alike"]] == [added.json()["code"]]
    assert one.post("people", {**new, "given_name": "Marushka", "really": True}).status_code == 201
    found = one.post("people/find", {"text": "holvat 1979-02-28"}).json()
    assert {match["person"]["given_name"] for match in found} == {"Maruška", "Marushka"}
    assert one.get(f"people/{added.json()['code']}").json() == added.json()
    read = AuditEvent.objects.get(action=Action.READ)
    assert (read.actor, read.subject_id) == ("operator", Person.objects.get(given_name="Maruška").pk)
    problems = one.post("people", {"born": "2090-01-01", "email": "x", "colour": "red"}).json()["problems"]
    assert problems == ["new.colour: Extra inputs are not permitted"]
    problems = one.post("people", {"born": "2090-01-01", "email": "x"}).json()["problems"]
    assert "Date of birth: This date of birth cannot be; check the year." in problems
    assert any(words.startswith("E-mail:") for words in problems)


def test_a_set_is_judged_as_on_the_page(
    program: Callable[..., Program], person: Callable[..., Person]
) -> None:
    one, someone = program(Role.OPERATOR), person()
    path = f"people/{someone.code}/measurements"
    new: dict[str, Any] = {
        "id": "set-0001", "region": "thigh", "side": "left", "girth": "thigh_mid_tape", "levels_mm": [0, 80],
        "values": [{"key": "girth_0", "readings": [57, 57.2]}, {"key": "girth_80", "readings": [24.1, 61.4]}],
    }  # fmt: skip
    asked = one.post(path, new)
    assert asked.status_code == 409
    assert {(item["key"], item["reading"]) for item in asked.json()["questions"]} >= {("girth_80", 1)}
    assert any("inches typed as centimetres: 61.2 cm" in item["likely"] for item in asked.json()["questions"])
    new["values"][1]["readings"] = [61.2, 63.2]
    third = one.post(path, new).json()["questions"]
    assert [(item["key"], item["reading"]) for item in third] == [("girth_80", 3)]
    new["values"][1]["readings"] = [61.2, 63.2, 61.4]
    kept = one.post(path, new)
    assert kept.status_code == 201
    assert one.post(path, new).json() == kept.json()  # sent twice, kept once
    found = {number["key"]: number for number in one.get(path).json()["items"]}
    assert {key: number["value"] for key, number in found.items()} == {"girth_0": 0.571, "girth_80": 0.614}
    assert found["girth_80"]["how"] == "median of 3"
    strange = {**new, "id": "set-0002", "values": [{"key": "girth_1", "readings": [57]}]}
    assert "girth_1 in this set; its places are girth_80, girth_0" in one.post(path, strange).json()["detail"]
    wrong = {**new, "id": "set-0003", "girth": "abdomen_navel_tape"}
    assert "is for the abdomen" in one.post(path, wrong).json()["detail"]


def test_a_course_is_planned_and_warnings_are_confirmed(
    program: Callable[..., Program], person: Callable[..., Person]
) -> None:
    one, someone = program(Role.OPERATOR), person()
    path = f"people/{someone.code}/courses"
    slot = {"start": in_days(-3), "minutes": 60}
    new = {"region": "thigh", "side": "left", "visits_planned": 3, "spacing_days": 14, "first": slot}
    warned = one.post(path, new)
    assert warned.status_code == 409
    assert warned.json()["problems"]
    assert not Course.objects.exists()
    made = one.post(path, {**new, "confirm": warned.json()["confirm"]})
    assert made.status_code == 201
    assert len(made.json()["visits"]) == 3
    assert one.get(path).json() == {"items": [made.json()], "total": 1, "offset": 0, "limit": 100}
    assert one.get(f"courses/{made.json()['id']}").json() == made.json()
    first = made.json()["visits"][0]
    assert one.get(f"visits/{first['id']}").json() == first
    today = date.today()
    span = f"first={today - timedelta(days=9)}&last={today + timedelta(days=60)}"
    assert one.get(f"visits?{span}").json()["items"] == made.json()["visits"]
    for offset in range(4):  # one at a time the same, and nothing behind the last
        part = one.get(f"visits?{span}&limit=1&offset={offset}").json()
        assert part["items"] == made.json()["visits"][offset : offset + 1]
        assert (part["total"], part["offset"], part["limit"]) == (3, offset, 1)
    assert one.get(f"visits?first={today}&last={today - timedelta(days=1)}").status_code == 422
    more = one.post(f"courses/{made.json()['id']}/visits", {"slot": slot})
    assert "least here is" in " ".join(more.json()["problems"])
    added = one.post(f"courses/{made.json()['id']}/visits", {"slot": slot, "confirm": more.json()["confirm"]})
    assert (added.status_code, added.json()["number"]) == (201, 4)


def test_a_bundle_through_the_api_is_an_export(program: Callable[..., Program], course: Course) -> None:
    one = program(Role.LEAD)
    bundle = one.get(f"people/{course.person.code}/fhir").json()
    assert bundle["resourceType"] == "Bundle"
    visit = one.get(f"visits/{course.visits.get().pk}/fhir").json()
    assert sum(entry["resource"]["resourceType"] == "Encounter" for entry in visit["entry"]) == 1
    assert [one.note for one in AuditEvent.objects.filter(action=Action.EXPORT)] == ["as FHIR R4B bundle"] * 2


def test_who_was_erased_is_not_there(
    program: Callable[..., Program], course: Course, account: Callable[..., Account]
) -> None:
    one, code, number = program(Role.OWNER), course.person.code, course.visits.get().pk
    with acting(account(Role.OWNER, username="other").actor("")):
        erase(course.person, EraseReason.ASKED)
    for path in (f"people/{code}", f"people/{code}/courses", f"courses/{course.pk}", f"visits/{number}"):
        assert one.get(path).status_code == 404


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ("{", 400),
        ("[]", 422),
        ('{"text": "\\u0000"}', 422),
        ('{"text": "\\ud800"}', 422),
        (b"\xff", 400),
        ('{"text": 1e999}', 422),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(
    program: Callable[..., Program], body: str | bytes, status: int
) -> None:
    answer = program(Role.OPERATOR).post("people/find", body)
    assert answer.status_code == status
    assert isinstance(answer.json()["detail"], str)


@pytest.mark.parametrize("asked", ["limit=0", "limit=501", "limit=x", "offset=-1", "offset=10000001"])
def test_a_part_of_a_list_beyond_what_is_allowed_is_refused_in_words(
    asked: str, program: Callable[..., Program], person: Callable[..., Person]
) -> None:
    one, code = program(Role.OPERATOR), person().code
    for path in (f"people/{code}/courses", f"people/{code}/measurements", "visits"):
        span = "first=2024-01-01&last=2024-02-01&" if path == "visits" else ""
        answer = one.get(f"{path}?{span}{asked}")
        assert answer.status_code == 422
        assert answer.json()["problems"][0].startswith(asked.partition("=")[0])


def test_numbers_measured_come_in_parts(
    program: Callable[..., Program], person: Callable[..., Person]
) -> None:
    one, path = program(Role.OPERATOR), f"people/{person().code}/measurements"
    new: dict[str, Any] = {
        "id": "set-0001", "region": "thigh", "side": "left", "girth": "thigh_mid_tape", "levels_mm": [0, 80],
        "values": [{"key": "girth_0", "readings": [57, 57.2]}, {"key": "girth_80", "readings": [61, 61.2]}],
    }  # fmt: skip
    assert one.post(path, new).status_code == 201
    whole = one.get(path).json()
    assert (whole["total"], len(whole["items"])) == (2, 2)
    assert one.get(f"{path}?limit=1&offset=1").json()["items"] == whole["items"][1:]


def test_a_token_used_too_often_waits_and_others_do_not(
    program: Callable[..., Program], person: Callable[..., Person], monkeypatch: pytest.MonkeyPatch
) -> None:
    """429 (RFC 6585, section 4) with Retry-After (RFC 9110, section 10.2.3, in seconds)."""
    monkeypatch.setattr(tokens, "MOST_A_MINUTE", 3)
    now = [1_000_000.0]
    monkeypatch.setattr(tokens.TokenRate, "timer", lambda _self: now[0])
    one, other, path = program(Role.OPERATOR), program(Role.LEAD), f"people/{person().code}"
    assert [one.get(path).status_code for _ in range(3)] == [200] * 3
    now[0] += 10
    refused = one.get(path)
    assert (refused.status_code, refused["Retry-After"]) == (429, "50")
    words = "With one token 3 requests a minute are answered: ask again in 50 s."
    assert refused.json() == {"detail": words, "problems": []}
    assert other.get(path).status_code == 200
    now[0] += 51
    assert one.get(path).status_code == 200


@pytest.mark.parametrize(("locale", "born"), [("en-gb", date(1980, 5, 3)), ("en-us", date(1980, 3, 5))])
def test_a_date_is_read_in_the_clinics_order(
    program: Callable[..., Program], person: Callable[..., Person], locale: str, born: date
) -> None:
    someone = person("Ada", "Quist", born=born)
    with acting(Actor("terminal")):
        Clinic(name="Invented", locale=locale).save()
    found = program(Role.OPERATOR).post("people/find", {"text": "03/05/1980"}).json()
    assert [(one["person"]["code"], one["why"]) for one in found] == [(someone.code, "")]


def test_a_wrong_method_is_told_in_json(program: Callable[..., Program]) -> None:
    """RFC 9110, 15.5.6: 405 names in Allow what is possible."""
    answer = program(Role.OPERATOR).get("people/find")
    assert (answer.status_code, answer.headers["Allow"]) == (405, "POST")
    assert answer.json() == {"detail": "GET is not possible here; possible: POST.", "problems": []}
