"""A clinic with a visit that runs, as a tablet sees it: for tests of the live page."""

import os
import re
import signal
import sqlite3
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.clinic.browsing import sign_in
from tests.clinic.real_server import start


class Place:
    """A clinic on the disk, and the server that now serves it; always at the same address."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.process, self.address, _ = start(home, demo=True)
        self.port = int(self.address.rstrip("/").rsplit(":", 1)[1])

    def kill(self) -> None:
        """No chance to end well."""
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait()
        assert self.process.stdout
        self.process.stdout.close()

    def again(self) -> None:
        """A new process on the same data and the same port."""
        self.process, self.address, _ = start(self.home, demo=True, port=self.port)

    def kept(self, visit: str) -> list[tuple[str, str]]:
        """Ids and kinds of what is in the database, without the program."""
        with sqlite3.connect(f"file:{self.home}/evenfield.sqlite3?mode=ro", uri=True) as record:
            rows = record.execute(
                "select entry_id, kind from visits_visitentry where visit_id = ? order by number", (visit,)
            )
            return [(str(name), str(kind)) for name, kind in rows]


def tablet_of(real_browser: Browser, place: Place) -> BrowserContext:
    """A tablet on which the operator is signed in and has begun the visit."""
    context = real_browser.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    sign_in(page, place.address, "operator")
    page.goto(f"{place.address}visits/")
    page.get_by_role("link", name=re.compile("Holvat")).click()
    page.get_by_role("button", name="Begin the visit").click()
    expect(page.locator("#live-pulse")).to_have_text("Live", timeout=30_000)
    page.close()
    return context


def number(place: Place) -> str:
    """The number of the running visit."""
    with sqlite3.connect(f"file:{place.home}/evenfield.sqlite3?mode=ro", uri=True) as record:
        row = record.execute("select id from courses_visit where state = 'running'").fetchone()
    return str(row[0])


def waiting(page: Page) -> int:
    """How many entries the tablet says are not saved."""
    return int(page.locator("#live-saved").get_attribute("data-waiting") or 0)


def note(page: Page, words: str) -> None:
    """Enter a note by keyboard."""
    page.keyboard.press("n")
    page.get_by_label("In words").fill(words)
    page.get_by_role("button", name="Enter", exact=True).click()


def saved(page: Page) -> None:
    """All that waited is saved."""
    expect(page.locator("#live-saved")).to_have_attribute("data-waiting", "0", timeout=30_000)


def kinds(place: Place) -> list[str]:
    return [kind for _name, kind in place.kept(number(place))]


def heating(page: Page) -> None:
    """The field is entered as on, whatever was entered before."""
    field = page.locator("#live-field")
    expect(page.locator("#live-phase")).not_to_have_text("–")
    if field.inner_text() != "Pause":
        field.click()
    expect(field).to_have_text("Pause")
    saved(page)
