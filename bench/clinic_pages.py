"""Every address of the clinic that answers GET, with records there are, and a browser that asks them."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.contrib.auth.hashers import make_password
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from bench.clinic_made import Made
from evenfield.clinic.access import Role, routes
from evenfield.clinic.accounts.models import Account, DeviceSession
from evenfield.clinic.accounts.signing_in import SESSION_KEY
from evenfield.clinic.api.models import ApiToken, ApiTokenUse
from evenfield.clinic.api.tokens import make_token
from evenfield.clinic.api.views import PERMISSIONS
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.courses.calendar_address import make_address
from evenfield.clinic.devices.models import Device, PanelProfile, TreatmentRoom
from evenfield.clinic.people.models import Person
from evenfield.clinic.photographs.models import PhotoEntry

NOT_BY_GET = {
    "sign-out", "lock-now", "resume", "touch", "stop-codes", "end-device", "new-code", "come-back",
    "export-person", "withdraw-photograph", "begin-setup", "tick-setup", "end-calendar", "save-plan",
    "what-if", "what-if-full", "take-what-if", "start-job", "cancel-job", "begin-visit", "visit-entries",
    "end-api-token", "api-find-people", "api-people", "api-course-visits", "withdraw-consent",
    "look-take-in", "api-visit-readings",
}  # fmt: skip
"""Routes that only take something."""


@dataclass(frozen=True)
class Page:
    """One thing to ask: name, route, address; `data` is sent by POST, `token` stands for the session."""

    name: str
    route: str
    path: str
    data: dict[str, Any] | None = None
    token: str = ""


def pages(made: Made, account: Account) -> list[Page]:
    """One page for every route that answers GET, several where what is asked matters; and the searches."""
    with acting(Actor("bench")):
        feed = make_address(account, whole_clinic=True)
    fill = _filled(made, account, feed)
    found = []
    for route in routes():
        name = str(route.name)
        if name in NOT_BY_GET:
            continue
        path = reverse(name, kwargs={key: fill(name, key) for key in route.pattern.converters})
        by_token = _token(account) if name.startswith("api-") and not _open(name) else ""
        found += [
            Page(f"{name}{': ' if words else ''}{words}", name, f"{path}{query}", token=by_token)
            for words, query in _VARIANTS.get(name, _plainly)(made)
        ]
    return found + list(_searches(made, _token(account)))


def _plainly(_made: Made) -> list[tuple[str, str]]:
    return [("", "")]


_VARIANTS: dict[str, Callable[[Made], list[tuple[str, str]]]] = {
    "calendar": lambda _: [
        ("week", ""), ("day", "?show=day"), ("day by staff", "?show=day&by=staff"),
        ("week 18 weeks ago", f"?day={timezone.localdate() - timedelta(days=126)}"),
    ],
    "trail": lambda made: [
        ("", ""), ("of one person", f"?record={made.person.pk}"), ("far back", "?before=1000"),
        ("asked for", f"?staff=1&action=read&day={timezone.localdate()}"),
    ],
    "person-courses": lambda _: [("", ""), ("further", "?from=1")],
    "visit-now": lambda _: [("", "?after=0")],
    "plan-file": lambda _: [("none there", "?name=section.svg")],
    "plan-region": lambda _: [("", "?region=thigh&side=left")],
    "enter-measurements": lambda _: [("", "?region=thigh&side=left&girth=thigh_mid_tape")],
    "api-visits": lambda _: [
        ("one day", f"?first={timezone.localdate()}&last={timezone.localdate()}"),
        ("400 days", f"?first={timezone.localdate() - timedelta(days=400)}&last={timezone.localdate()}"),
    ],
}  # fmt: skip


def _token(account: Account) -> str:
    """A token of its own for each page, since each answers only so often; its use need not be noted."""
    with acting(Actor("bench")):
        token = make_token(account, "bench", PERMISSIONS, 30)
    held = ApiToken.objects.filter(account=account).order_by("-pk")[0]
    ApiTokenUse.objects.create(token=held, at=timezone.now() + timedelta(days=1))
    return token


def _open(name: str) -> bool:
    return name in {"api-tokens", "all-api-tokens", "api-document", "api-nothing"}


def _searches(made: Made, token: str) -> Iterator[Page]:
    one = made.person
    for words, text in (
        ("name", one.full_name),
        ("name with two slips", f"{one.given_name[:-2]}{one.given_name[-1]} {_swapped(one.family_name)}"),
        ("family name only", one.family_name),
        ("three letters", one.family_name[:3]),
        ("code", one.code),
        ("date of birth", one.born.isoformat() if one.born else ""),
        ("nobody", "Xxyzzq Wqqf"),
    ):
        yield Page(f"search: {words}", "people", "/people/", data={"text": text})
    yield Page(
        "api-find-people", "api-find-people", "/api/people/find", data={"text": one.full_name}, token=token
    )
    usual = Person.objects.get(pk=made.usual)
    yield Page("person: usual", "person", f"/people/{usual.code}/")
    yield Page("export-person: usual", "export-person", f"/people/{usual.code}/export/", {})
    for form in ("fhir", "csv", "pdf"):
        there = f"/exchange/person/{usual.code}/"
        yield Page(f"send-person: usual, {form}", "send-person", there, {"form": form})
        yield Page(
            f"send-person: {form}", "send-person", f"/exchange/person/{one.code}/", data={"form": form}
        )
        yield Page(f"send-visit: {form}", "send-visit", f"/exchange/visit/{made.done}/", data={"form": form})
    yield Page("export-person", "export-person", f"/people/{one.code}/export/", data={})


def _swapped(name: str) -> str:
    return f"{name[:2]}{name[3]}{name[2]}{name[4:]}"


def _filled(made: Made, account: Account, feed: str) -> Callable[[str, str], Any]:
    """What stands in an address in place of a number, code or token."""
    photograph = PhotoEntry.objects.order_by("number").first()
    pictured = photograph.subject_id if photograph else made.person.pk
    code_of_pictured = Person.objects.get(pk=pictured).code
    numbers: dict[str, int] = {
        "change-staff": account.pk,
        "kept-measurements": made.measuring, "correct-measurement": made.measuring,
        "kept-screening": made.screening,
        "compare-photographs": photograph.number if photograph else 0,
        "picture": photograph.number if photograph else 0,
        "change-device": _first(Device), "change-panel": _first(PanelProfile),
        "change-room": _first(TreatmentRoom),
        "change-course": made.course, "course-state": made.course, "add-visit": made.course,
        "api-course": made.course,
        "visit": made.done, "move-visit": made.planned, "cancel-visit": made.planned,
        "miss-visit": made.planned, "plan-visit": made.planned, "job": made.job,
        "live-visit": made.running, "visit-now": made.running, "unwanted-event": made.running,
        "close-visit": made.running, "api-visit-live": made.running,
        "visit-report": made.done, "visit-picture": made.done, "visit-report-pdf": made.done,
        "send-visit": made.done, "api-visit": made.done, "api-visit-fhir": made.done,
    }  # fmt: skip

    def fill(route: str, key: str) -> Any:
        if key == "number":
            return numbers.get(route, made.plan)
        of_picture = route in {"photographs", "take-photograph", "compare-photographs", "picture"}
        return {
            "code": code_of_pictured if of_picture else made.person.code,
            "token": feed,
            "kind": "people",
            "rest": "x",
        }[key]

    return fill


def _first(model: Any) -> int:
    return int(model.objects.order_by("pk").values_list("pk", flat=True)[0])


class Browser:
    """Someone with every role, signed in; asks pages through the whole of the application."""

    def __init__(self) -> None:
        account = Account(username="everything", name="Invented Everything")
        account.roles = frozenset(Role)
        account.password = account.pin = make_password("nineteen slow herons wading at dusk")
        with acting(Actor("bench")):
            account.save()
        self.account = account
        self.client = Client(SERVER_NAME="localhost")
        self.client.force_login(account)
        device = DeviceSession.objects.create(
            account=account,
            browser="bench",
            address="127.0.0.1",
            started=timezone.now(),
            last_active=timezone.now(),
        )
        session = self.client.session
        session[SESSION_KEY] = device.pk
        session.save()
        self.wake()

    def wake(self) -> None:
        """Signed in just now and active until tomorrow: the screen does not lock, and that someone is at it
        need not be noted meanwhile."""
        now = timezone.now()
        mine = DeviceSession.objects.filter(account=self.account)
        mine.update(started=now, last_active=now + timedelta(days=1), locked=False)

    def ask(self, page: Page) -> tuple[int, bytes]:
        """Status and content."""
        headers: dict[str, str] = {"Authorization": f"Bearer {page.token}"} if page.token else {}
        # An API's program keeps no cookies.
        client = Client(SERVER_NAME="localhost") if page.token else self.client
        if page.data is None:
            answer = client.get(page.path, headers=headers)
        elif page.token:
            answer = client.post(page.path, page.data, content_type="application/json", headers=headers)
        else:
            asked = {"X-Requested-With": "evenfield"} if page.route == "people" else {}
            answer = client.post(page.path, page.data, headers=asked)
        content: bytes = b"" if answer.streaming else answer.content
        return answer.status_code, content

    def queries(self, page: Page) -> list[str]:
        """The questions to the database that the page needs, those of a commit left out."""
        with CaptureQueriesContext(connection) as seen:
            self.ask(page)
        return [str(one["sql"]) for one in seen.captured_queries if not _of_commit(str(one["sql"]))]


def _of_commit(sql: str) -> bool:
    return sql.startswith(("BEGIN", "COMMIT", "SAVEPOINT", "RELEASE", "ROLLBACK"))


@dataclass(frozen=True)
class Asked:
    """What asking one page came to: times in ms by the clock, sorted; the median of those by the processor
    alone, which others at work do not lengthen; questions to the database; size of the answer."""

    page: Page
    status: int
    times_ms: list[float]
    processor_ms: float
    queries: int
    size: int

    @property
    def median_ms(self) -> float:
        """The middle one."""
        return self.times_ms[len(self.times_ms) // 2]

    @property
    def p99_ms(self) -> float:
        """The one that 99 of 100 do not exceed; the longest where there are fewer than 100."""
        return self.times_ms[min(len(self.times_ms) - 1, int(0.99 * len(self.times_ms)))]


def ask_page(browser: Browser, page: Page, times: int, *, most_s: float = 20.0) -> Asked:
    """Ask so many times, fewer (3 at least) where that takes longer than `most_s`."""
    queries = len(browser.queries(page))
    took: list[float] = []
    worked: list[float] = []
    begun = time.monotonic()
    status, content = 0, b""
    while len(took) < times and (len(took) < 3 or time.monotonic() - begun < most_s):
        clock, processor = time.perf_counter(), time.process_time()
        status, content = browser.ask(page)
        took.append(1000 * (time.perf_counter() - clock))
        worked.append(1000 * (time.process_time() - processor))
    return Asked(page, status, sorted(took), sorted(worked)[len(worked) // 2], queries, len(content))
