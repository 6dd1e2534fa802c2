"""The short way of a heartbeat ends wherever the whole way would refuse; few threads answer all requests."""

import asyncio
import json
import threading
from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from evenfield.clinic.access import Role
from evenfield.clinic.accounts.models import Account, DeviceSession
from evenfield.clinic.answering import Threads
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.courses.visits import begin_visit
from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.people.models import Person
from evenfield.clinic.visits.running import keep_beginning


@pytest.fixture
def running(person: Callable[..., Person]) -> Visit:
    with acting(Actor("terminal")):
        Clinic(name="Invented", idle_minutes=5).save()
        course = Course(person=person(), region="thigh", visits_planned=6, spacing_days=14)
        course.save()
        visit = Visit(course=course, number=1, planned_start=timezone.now(), minutes=60)
        visit.save()
        keep_beginning(begin_visit(visit))
    return visit


def beat(client: Client, visit: Visit) -> tuple[int, int]:
    """The status of a heartbeat, and how often it asked the database."""
    with CaptureQueriesContext(
        connection,
    ) as asked:
        answer = client.get(f"/visits/{visit.pk}/now/?after=0", headers={"X-Requested-With": "evenfield"})
    return answer.status_code, len(asked)


def _saved(model: type[Account | Person], **fields: object) -> None:
    one = model._default_manager.get()
    for name, value in fields.items():
        setattr(one, name, value)
    with acting(Actor("terminal")):
        one.save()


def end_session(_client: Client) -> None:
    DeviceSession.objects.update(ended=timezone.now())


def lock(_client: Client) -> None:
    DeviceSession.objects.update(locked=True)


def leave_alone(_client: Client) -> None:
    DeviceSession.objects.update(last_active=timezone.now() - timedelta(minutes=5.1))


def grow_old(_client: Client) -> None:
    DeviceSession.objects.update(started=timezone.now() - timedelta(hours=12.1))


def take_away_the_role(_client: Client) -> None:
    _saved(Account, roles_text=Role.TRAINER.value)


def change_the_password(_client: Client) -> None:
    _saved(Account, password=make_password("another"))


def put_out_of_use(_client: Client) -> None:
    _saved(Account, is_active=False)


def forget_the_session(_client: Client) -> None:
    Session.objects.all().delete()


def let_the_session_expire(_client: Client) -> None:
    Session.objects.update(expire_date=timezone.now() - timedelta(seconds=1))


def bring_no_cookie(client: Client) -> None:
    client.cookies.clear()


def erase(_client: Client) -> None:
    _saved(Person, erased=timezone.now())


@pytest.mark.parametrize(
    ("change", "status"),
    [
        (lock, 423), (leave_alone, 423), (end_session, 401), (grow_old, 401), (take_away_the_role, 403),
        (change_the_password, 401), (put_out_of_use, 401), (forget_the_session, 401),
        (let_the_session_expire, 401), (bring_no_cookie, 401), (erase, 404),
    ],
)  # fmt: skip
def test_whatever_the_whole_way_refuses_the_short_way_does_not_answer(
    running: Visit, browser: Callable[..., Client], change: Callable[[Client], None], status: int
) -> None:
    client = browser(Role.OPERATOR)
    assert beat(client, running)[0] == 200  # the whole way
    assert beat(client, running) == (200, 1)  # the short one
    change(client)
    assert beat(client, running)[0] == status


def test_the_short_way_says_what_the_whole_way_says(running: Visit, browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    address = f"/visits/{running.pk}/now/?after=0"
    whole, short = client.get(address), client.get(address)
    one, other = (
        {k: v for k, v in a.json().items() if not k.endswith(("_ms", "now_s"))} for a in (whole, short)
    )
    assert one == other
    assert one["plan"]["places"]
    for header in (
        "Cache-Control",
        "Content-Security-Policy",
        "X-Content-Type-Options",
        "Permissions-Policy",
    ):
        assert short[header] == whole[header]
    note = {"id": "a-note-of-mine", "wrote_ms": 1.0, "event": {"kind": "noted", "text": "new"}}
    told = json.dumps({"sent_ms": 1.0, "entries": [note]})
    client.post(f"/visits/{running.pk}/entries/", told, content_type="application/json")
    assert [entry["id"] for entry in client.get(f"{address[:-1]}1").json()["entries"]] == ["a-note-of-mine"]
    other_person = browser(Role.TRAINER)
    assert other_person.get(address).status_code == 403
    assert client.get("/visits/999999/now/?after=0").status_code == 404


class Asked:
    """A server's side of requests to `Threads`, without a network."""

    def __init__(self) -> None:
        self.log: list[str] = []
        self.at_once = self.most_at_once = 0
        self.count = threading.Lock()
        self.application = Threads(self.answering, 1000, most_bytes=3 * 1024**2)
        self.pieces_read = 0
        self.entry_goes_on = threading.Event()

    def answering(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        place = environ["PATH_INFO"]
        if place.endswith("/now/"):
            with self.count:
                self.at_once += 1
                self.most_at_once = max(self.most_at_once, self.at_once)
            self.entry_goes_on.wait(0.01)
            with self.count:
                self.at_once -= 1
        elif environ["REQUEST_METHOD"] == "POST":
            self.entry_goes_on.wait(5)
        self.log.append(place)
        start("200 OK", [("Set-Cookie", " a=b"), ("Content-Type", "text/plain")])
        told = [
            environ["CONTENT_LENGTH"],
            environ.get("HTTP_COOKIE", ""),
            environ.get("HTTP_X_FORWARDED_PROTO"),
        ]
        return [environ["wsgi.input"].read(), json.dumps(told).encode()]

    async def ask(
        self, method: str, path: str, pieces: tuple[bytes, ...] = (b"",), headers: tuple[Any, ...] = ()
    ) -> list[dict[str, Any]]:
        """One request; the messages of its answer."""
        sent: list[dict[str, Any]] = []
        waiting = [
            {"type": "http.request", "body": piece, "more_body": n < len(pieces) - 1}
            for n, piece in enumerate(pieces)
        ]

        async def receive() -> Any:
            self.pieces_read += 1
            return waiting.pop(0)

        async def send(message: Any) -> None:
            sent.append(message)

        scope = {"type": "http", "method": method, "path": path, "query_string": b"", "http_version": "1.1"}
        scope |= {"headers": list(headers), "server": ("127.0.0.1", 80), "client": ("127.0.0.1", 5)}
        await self.application(scope, receive, send)
        return sent


def test_a_body_beyond_the_most_is_refused_before_or_while_it_is_read() -> None:
    """RFC 9110, 15.5.14: 413, content too large."""
    asked, mega = Asked(), b"x" * 1024**2
    asked.entry_goes_on.set()
    said = ((b"content-length", str(3 * 1024**2 + 1).encode()),)
    answer = asyncio.run(asked.ask("POST", "/api/people", (mega,) * 4, said))
    assert (answer[0]["status"], asked.pieces_read, asked.log) == (413, 0, [])
    assert (
        json.loads(answer[1]["body"])["detail"]
        == "What was sent is larger than 3 MB, the most that is taken."
    )
    answer = asyncio.run(asked.ask("POST", "/api/people", (mega,) * 9))
    assert (answer[0]["status"], asked.pieces_read, asked.log) == (413, 4, [])
    lying = ((b"content-length", b"\xb2"),)
    answer = asyncio.run(asked.ask("POST", "/api/people", (mega,) * 3, lying))
    assert (answer[0]["status"], asked.log) == (200, ["/api/people"])


def test_heartbeats_take_turns_and_wait_for_entries() -> None:
    async def scene() -> Asked:
        asked = Asked()
        entry = asyncio.create_task(asked.ask("POST", "/visits/1/entries/"))
        await asyncio.sleep(0.02)
        beats = [asyncio.create_task(asked.ask("GET", f"/visits/{n}/now/")) for n in range(5)]
        await asked.ask("GET", "/people/")  # waits for neither
        await asyncio.sleep(0.05)
        assert asked.log == ["/people/"]
        asked.entry_goes_on.set()
        await asyncio.gather(entry, *beats)
        return asked

    asked = asyncio.run(scene())
    assert asked.log[1] == "/visits/1/entries/"
    assert len(asked.log) == 7
    assert asked.most_at_once == 1


def test_an_entry_that_hangs_holds_heartbeats_up_only_for_a_moment() -> None:
    async def scene() -> list[str]:
        asked = Asked()
        entry = asyncio.create_task(asked.ask("POST", "/visits/1/entries/"))
        await asyncio.sleep(0.02)
        beats = [asked.ask("GET", "/visits/2/now/") for _ in range(20)]
        await asyncio.wait_for(asyncio.gather(*beats), 4.0)  # not half a second for each
        found = list(asked.log)
        asked.entry_goes_on.set()
        await entry
        return found

    assert asyncio.run(scene()) == ["/visits/2/now/"] * 20


def test_a_request_reaches_django_whole_and_with_its_own_headers() -> None:
    pieces = (b"x" * 700, b"y" * 700)  # more than is kept in memory
    headers = ((b"cookie", b"a=1"), (b"cookie", b"b=2"), (b"x_forwarded_proto", b"https"))
    asked = Asked()
    asked.entry_goes_on.set()
    begin, content = asyncio.run(asked.ask("POST", "/x/", pieces, headers))
    assert begin["status"] == 200
    assert begin["headers"] == [(b"set-cookie", b"a=b"), (b"content-type", b"text/plain")]
    told = b'["1400", "a=1; b=2", null]'  # RFC 6265 5.4: cookies in one line; the underscore's header dropped
    assert content["body"] == b"x" * 700 + b"y" * 700 + told
