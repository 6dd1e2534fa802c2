"""Skin readings entered into a visit through the API, as the thermometer feed does, and from a file."""

import io
import json
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from evenfield.clinic.access import Role
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.api.tokens import make_token
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.trail import verify_chain
from evenfield.clinic.courses.models import Course, Visit, VisitState
from evenfield.clinic.people.models import Person
from evenfield.clinic.visits.models import VisitEntry
from evenfield.clinic.visits.running import running
from evenfield.clinic.visits.translation import inputs_of
from evenfield.follow import SkinRead

UPPER_ARM = (Path(__file__).parents[2] / "examples/upper_arm.toml").read_text("utf-8")
Send = Callable[..., Any]


@pytest.fixture
def visit(person: Callable[..., Person], terminal: Actor) -> Visit:
    """A visit with a plan, running for 20 minutes."""
    course = Course(person=person(), region="upper_arm", visits_planned=6, spacing_days=14)
    course.save()
    now = timezone.now()
    made = Visit(course=course, number=1, planned_start=now, minutes=60, plan={"case": UPPER_ARM})
    made.state, made.started_at = VisitState.RUNNING, now - timedelta(minutes=20)
    made.save()
    return made


@pytest.fixture
def send(visit: Visit, account: Callable[..., Account]) -> Send:
    """Send to the visit by an operator's token."""
    one = account(Role.OPERATOR)
    with acting(one.actor("")):
        secret = make_token(one, "thermometer", ["visits.view", "visits.enter"], 30)

    def sent(*readings: dict[str, Any]) -> Any:
        body = {"sent_ms": ms(timezone.now()), "readings": list(readings)}
        answer = Client().post(
            f"/api/visits/{visit.pk}/readings",
            json.dumps(body),
            "application/json",
            headers={"Authorization": f"Bearer {secret}"},
        )
        assert answer.status_code == 200, answer.content
        return answer.json()

    return sent


def ms(moment: datetime) -> float:
    """As a right clock shows it."""
    return moment.timestamp() * 1000.0


def reading(
    name: str, ago_s: float = 0.0, zone: str = "inner: centre", celsius: float = 35.1
) -> dict[str, Any]:
    """A reading made so many seconds ago."""
    wrote = ms(timezone.now()) - 1000.0 * ago_s
    return {"id": f"reading-{name}", "wrote_ms": wrote, "zone": zone, "celsius": celsius, "error_k": 0.5}


def test_a_reading_is_an_entry_once_at_its_own_time(visit: Visit, send: Send) -> None:
    one = reading("1", ago_s=300)
    first = send(one)
    assert [(a["id"], a["kept"], a["refused"]) for a in first] == [("reading-1", True, "")]
    assert send(one) == first
    row = VisitEntry.objects.get(visit=visit)
    assert (row.number, row.kind, row.actor) == (first[0]["number"], "skin_reading", "operator")
    (told,) = inputs_of(running(visit).events, 9000.0)
    assert visit.started_at
    assert told == SkinRead(told.at_s, "inner: centre", 35.1, 0.5)
    assert told.at_s == pytest.approx((one["wrote_ms"] - ms(visit.started_at)) / 1000.0, abs=20.0)
    assert verify_chain().holds


def test_what_is_wrong_is_refused_in_words_and_holds_up_nothing_else(visit: Visit, send: Send) -> None:
    answers = send(
        reading("a", zone="inner: knee"),
        reading("b", ago_s=1300),
        reading("c", ago_s=-60),
        reading("d", celsius=5.0),
        reading("e"),
        reading("e", celsius=36.0),
    )
    refused = [answer["refused"] for answer in answers]
    assert "no zone “inner: knee”; its zones are: inner: " in refused[0]
    assert refused[1] == "This reading was made before the visit began."
    assert refused[2] == "By its own time this reading was made after it was sent."
    assert "celsius = 5.0" in refused[3]
    assert refused[4] == ""
    assert "Another entry was kept under this id" in refused[5]
    assert [row.entry_id for row in VisitEntry.objects.filter(visit=visit)] == ["reading-e"]


def test_a_closed_visit_takes_what_was_read_before_and_nothing_of_the_next_person(
    visit: Visit, send: Send
) -> None:
    with acting(Actor("terminal")):
        visit.state, visit.ended_at = VisitState.DONE, timezone.now() - timedelta(minutes=5)
        visit.save()
    answers = send(reading("late", ago_s=400), reading("after", ago_s=200))
    refusals = ["", "This reading was made after the visit was closed."]
    assert [answer["refused"] for answer in answers] == refusals
    row = VisitEntry.objects.get(visit=visit)
    assert row.content["after_closing"]


def test_a_visit_that_has_not_begun_takes_nothing(visit: Visit, send: Send) -> None:
    with acting(Actor("terminal")):
        visit.state, visit.started_at = VisitState.PLANNED, None
        visit.save()
    assert send(reading("1"))[0]["refused"] == "This visit is planned: nothing can be entered."
    assert not VisitEntry.objects.exists()


def test_the_zones_of_the_plan_are_told(visit: Visit, account: Callable[..., Account]) -> None:
    one = account(Role.OPERATOR)
    with acting(one.actor("")):
        secret = make_token(one, "thermometer", ["visits.view"], 30)
    told = Client().get(f"/api/visits/{visit.pk}/live", headers={"Authorization": f"Bearer {secret}"}).json()
    assert told["state"] == "running"
    assert "inner: centre" in told["zones"]
    assert len(told["zones"]) == 18


def test_a_file_on_the_page_goes_in_whole_or_not_at_all_and_once(
    visit: Visit, browser: Callable[..., Client]
) -> None:
    client, address = browser(Role.OPERATOR), f"/visits/{visit.pk}/readings/"
    now = timezone.localtime()
    good = [f"{now - timedelta(minutes=m):%Y-%m-%dT%H:%M:%S},inner: centre,34.{m},C" for m in (2, 5)]

    def sent(*lines: str, error_k: str = "0.5") -> Any:
        file = io.BytesIO("\n".join(["time,zone,temperature,unit", *lines]).encode())
        return client.post(address, {"file": file, "error_k": error_k})

    page = sent(*good, f"{now:%Y-%m-%d},inner: knee,34,C").content.decode()
    assert "1 line of the file cannot be taken, so nothing of it was." in page
    assert "Line 4: “" in page
    assert "inner: centre" in client.get(address).content.decode()
    assert not VisitEntry.objects.exists()
    for _ in range(2):
        assert sent(*good)["Location"] == f"/visits/{visit.pk}/"
    assert visit.started_at
    told = inputs_of(running(visit).events, 9000.0)
    expected = [(now - timedelta(minutes=m) - visit.started_at).total_seconds() for m in (5, 2)]
    assert [one.at_s for one in told] == pytest.approx(expected, abs=2.0)  # the file has whole seconds
    assert VisitEntry.objects.count() == 2
    other = f"{now - timedelta(minutes=1):%Y-%m-%dT%H:%M:%S},inner: centre,34.1,C"
    page = sent(other, *good, error_k="0.9").content.decode()
    assert "Readings of this file were refused, so none of it was taken." in page
    assert VisitEntry.objects.count() == 2
    assert verify_chain().holds
    assert "larger than 500 kB" in sent("x" * 500_000).content.decode()
