"""An invented clinic for the tests: one account per role, and a browser signed in as each."""

import os
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.contrib.auth.hashers import make_password
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from evenfield.clinic.access import Role
from evenfield.clinic.accounts.models import Account, DeviceSession
from evenfield.clinic.accounts.signing_in import SESSION_KEY
from evenfield.clinic.audit import anchor
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.audit.trail import record
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.people.models import Person
from evenfield.clinic.screening.consent import present_text
from evenfield.clinic.screening.recording import keep_answers, keep_consent
from evenfield.clinic.setup_check import runs as setups
from evenfield.clinic.visits.running import begin
from evenfield.conduct.screening import default_screening
from evenfield.conduct.setup import default_checklist
from tests.clinic.live_place import Place, number, tablet_of
from tests.clinic.real_server import start, stop

PASSWORD = "seven slow herons at low tide"
PIN = "582047"

# What a page comes to is waited for, however busy the machine; how fast it comes is for bench/.
expect.set_options(timeout=30_000)

# Chromium does not see the guard against network use, so its background traffic is switched off here.
QUIET = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-default-apps",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1",
]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """On another database only the tests of this folder that touch it; the others ran on SQLite already."""
    if "DATABASE_URL" not in os.environ:
        return
    here = [item for item in items if item.path.is_relative_to(Path(__file__).parent)]
    others = [
        item for item in here if not {"db", "transactional_db"} & set(getattr(item, "fixturenames", ()))
    ]
    others = [item for item in others if item.get_closest_marker("django_db") is None]
    config.hook.pytest_deselected(items=others)
    items[:] = [item for item in items if item not in others]


@pytest.fixture(autouse=True)
def _no_anchor_of_another_test() -> Iterator[None]:
    """The anchor file outlives the rows that a test takes back; the next one begins without it."""
    anchor.forget()
    yield
    anchor.forget()


@pytest.fixture
def terminal() -> Iterator[Actor]:
    """Someone at the terminal acts."""
    actor = Actor("terminal")
    with acting(actor):
        yield actor


@pytest.fixture
def account(db: None) -> Callable[..., Account]:
    """Make an account with these roles."""

    def make(*roles: Role, username: str = "", **fields: object) -> Account:
        made = Account(username=username or "-".join(roles), name="Somebody Invented", **fields)
        made.roles = frozenset(roles)
        made.password, made.pin = make_password(PASSWORD), make_password(PIN)
        with acting(Actor("terminal")):
            made.save()
        return made

    return make


def signed_in(account: Account) -> Client:
    """A browser signed in as this account, the way sign-in leaves it."""
    client = Client()
    client.force_login(account)
    now = timezone.now()
    device = DeviceSession.objects.create(
        account=account, browser="Test on test", address="127.0.0.1", started=now, last_active=now
    )
    session = client.session
    session[SESSION_KEY] = device.pk
    session.save()
    return client


@pytest.fixture
def browser(account: Callable[..., Account]) -> Callable[..., Client]:
    """Make an account with these roles and a browser signed in as it."""
    return lambda *roles: signed_in(account(*roles))


@pytest.fixture
def person(db: None) -> Callable[..., Person]:
    """Make a person."""

    def make(
        given: str = "Ines", family: str = "Pallandér", born: date = date(1988, 11, 3), **fields: object
    ) -> Person:
        made = Person(given_name=given, family_name=family, born=born, **fields)
        with acting(Actor("terminal")):
            made.save()
        return made

    return make


@pytest.fixture(scope="session")
def demonstration(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a real server with the invented clinic."""
    process, address, _ = start(tmp_path_factory.mktemp("demonstration") / "record", demo=True)
    yield address
    stop(process)


@pytest.fixture(scope="module")
def real_browser(chromium: Path) -> Iterator[Browser]:
    """Chromium without a screen. Not longer than a file: its driver keeps an event loop in this thread, in
    which other tests begin their own."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=str(chromium), args=QUIET)
        yield browser
        browser.close()


@pytest.fixture
def visit(person: Callable[..., Person], terminal: Actor) -> Visit:
    """A visit of today of which nothing is missing but its beginning."""
    someone = person()
    questions = default_screening()
    keep_answers(someone, questions, {one.id: one.good.value for one in questions.question})
    keep_consent(someone, present_text(), name=someone.full_name, drawing="")
    run = setups.begin(someone)
    for line in default_checklist().line:
        setups.tick(someone, run.number, line.id, done=True)
    course = Course(person=someone, region="thigh", visits_planned=6, spacing_days=14)
    course.save()
    made = Visit(course=course, number=1, planned_start=timezone.now(), minutes=60)
    made.save()
    return made


@pytest.fixture
def begun(visit: Visit) -> Visit:
    """The same, running for 20 minutes."""
    one = begin(visit)
    one.started_at = timezone.now() - timedelta(minutes=20)
    one.save()
    return one


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    """One clinic for this file."""
    made = Place(tmp_path_factory.mktemp("live") / "record")
    yield made
    stop(made.process)


@pytest.fixture(scope="module")
def tablet(real_browser: Browser, place: Place) -> Iterator[BrowserContext]:
    """The operator's tablet, for this file."""
    context = tablet_of(real_browser, place)
    yield context
    context.close()


@pytest.fixture
def live(tablet: BrowserContext, place: Place) -> Iterator[Page]:
    """The live page, answering."""
    page = tablet.new_page()
    page.goto(f"{place.address}visits/{number(place)}/")
    expect(page.locator("#live-pulse")).to_have_text("Live")
    expect(page.locator("#live-phase")).not_to_have_text("–")
    yield page
    page.close()


@pytest.fixture
def five(terminal: Actor) -> list[AuditEvent]:
    """Five entries with content, by someone at the terminal."""
    return [
        record(
            Action.UPDATE,
            kind="people.person",
            object_id=n,
            subject_id=n,
            before={"note": "a"},
            after={"note": "b"},
        )
        for n in range(1, 6)
    ]
