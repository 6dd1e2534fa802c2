"""The main path of a new clinic, in a real browser with a real server, on each database that can be used.

The owner's account, a client, screening with a refusal and its lifting, consent, measuring, a course with a
clash, the check of a plan, what is sent out, and the trail afterwards.
"""

import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from playwright.sync_api import Browser, Page, expect

from bench.own_postgresql import own_postgresql
from evenfield.clinic.pages.zones import computer_time_zone
from tests.clinic.browsing import faults
from tests.clinic.real_server import environment, start, stop

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PASSWORD = "slow rain on a tin boat"
PIN = "480735"


@dataclass(frozen=True)
class NewClinic:
    """A server on its first run: its address, the code it printed, its data directory and database."""

    address: str
    code: str
    home: Path
    database_url: str


@pytest.fixture(params=["sqlite", "postgresql"])
def new_clinic(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[NewClinic]:
    """Nothing in it yet."""
    home = tmp_path / "record"
    if request.param == "sqlite":
        yield from _served(home, "")
        return
    postgres: Path = request.getfixturevalue("postgres")
    with (
        TemporaryDirectory(prefix="evenfield-postgresql-") as folder,
        own_postgresql(Path(folder), postgres) as url,
    ):
        yield from _served(home, url)


def _served(home: Path, url: str) -> Iterator[NewClinic]:
    process, address, lines = start(home, demo=False, database_url=url)
    code = re.search(r"code (\S+)$", lines[-1])
    assert code
    yield NewClinic(address, code[1], home, url)
    stop(process)


def press(page: Page, name: str) -> None:
    """A button or link of the page's own part; the page it leads to is there with its scripts."""
    inside = page.locator("main")
    inside.get_by_role("button", name=name, exact=True).or_(
        inside.get_by_role("link", name=name, exact=True)
    ).first.click()
    page.wait_for_load_state()


def test_from_the_first_run_to_a_trail_that_holds(real_browser: Browser, new_clinic: NewClinic) -> None:
    context = real_browser.new_context(viewport={"width": 1024, "height": 768}, timezone_id="Europe/Lisbon")
    page = context.new_page()
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("response", lambda answer: problems.append(answer.url) if answer.status >= 500 else None)
    found_the_clinic(page, new_clinic)
    set_a_pin_lock_and_come_back(page, new_clinic.address)
    code = add_someone_and_find_them_again(page, new_clinic.address)
    refuse_and_lift(page, new_clinic.address, code)
    sign_the_consent(page, new_clinic.address, code)
    measure_with_a_slip(page, new_clinic.address, code)
    book_with_a_clash(page, new_clinic.address, code)
    plan_beyond_the_manual(page, new_clinic.address)
    send_out(page, new_clinic.address, code)
    context.close()
    assert problems == []
    verified = subprocess.run(
        [sys.executable, "-m", "evenfield", "audit", "verify"],
        env=environment(new_clinic.database_url) | {"EVENFIELD_HOME": str(new_clinic.home)},
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert verified.returncode == 0, verified.stdout + verified.stderr


def found_the_clinic(page: Page, clinic: NewClinic) -> None:
    assert faults(page, f"{clinic.address}first-run/") == []
    page.goto(clinic.address)
    expect(page.get_by_role("heading", level=1)).to_have_text("Start your clinic's record")
    page.get_by_label("Name of the clinic").fill("Invented House")
    if computer_time_zone() == "UTC":  # the server knows none, so the browser's own is proposed
        expect(page.get_by_label("Time zone")).to_have_value("Europe/Lisbon")
    page.get_by_label("Time zone").select_option("Europe/Lisbon")
    page.get_by_label("Your name").fill("Ada Invented")
    expect(
        page.get_by_label("lead clinician")
    ).not_to_be_checked()  # lifting a refusal is given, not left over
    page.get_by_label("lead clinician").check()
    page.get_by_label("Your user name").fill("ada")
    page.get_by_label("New password", exact=True).fill(PASSWORD)
    page.get_by_label("New password again").fill(PASSWORD)
    page.get_by_label("Code from the terminal").fill("AAAA-AAAA-AAAA-AAAA")
    press(page, "Create the owner's account")
    expect(page.locator("main")).to_contain_text("This is not the code")
    expect(page.get_by_label("Your name")).to_have_value("Ada Invented")  # nothing typed is lost
    page.get_by_label("Code from the terminal").fill(clinic.code)
    page.get_by_label("New password", exact=True).fill(PASSWORD)
    page.get_by_label("New password again").fill(PASSWORD)
    press(page, "Create the owner's account")
    expect(page.get_by_role("heading", level=1)).to_have_text("Hello, Ada Invented")
    page.goto(f"{clinic.address}first-run/")
    expect(page.get_by_role("heading", level=1)).not_to_have_text("Start your clinic's record")


def set_a_pin_lock_and_come_back(page: Page, address: str) -> None:
    page.goto(f"{address}account/pin/")
    page.get_by_label("Present password").fill(PASSWORD)
    page.get_by_label("PIN", exact=True).fill(PIN)
    press(page, "Save")
    expect(page.locator(".message")).to_have_text("The PIN is set.")
    with page.expect_response("**/locked/now/"):
        page.get_by_role("button", name="Lock", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Locked")
    page.goto(f"{address}people/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Locked")
    page.get_by_label("PIN or password").fill(PIN)
    press(page, "Continue")
    expect(page.get_by_role("heading", level=1)).to_have_text("People")


def add_someone_and_find_them_again(page: Page, address: str) -> str:
    page.goto(f"{address}people/add/")
    page.get_by_label("Given name").fill("Tuva")
    page.get_by_label("Family name").fill("Sørmark")
    page.get_by_label("Date of birth").fill("1984-02-29")
    press(page, "Add")
    expect(page.locator(".message")).to_contain_text("Added with the code")
    code = page.url.rstrip("/").rsplit("/", 1)[1]
    page.goto(f"{address}people/")
    for asked in ("tuwa soermark", "29 February 1984"):
        page.get_by_label("Name, code or date of birth").fill(asked)
        press(page, "Find")
        expect(page.locator(".people")).to_contain_text("Tuva Sørmark")
    return code


def refuse_and_lift(page: Page, address: str, code: str) -> None:
    page.goto(f"{address}screening/{code}/questions/")
    expect(page.locator("fieldset.field")).to_have_count(19)
    for question in page.locator("fieldset.field").all():
        bad = question.get_by_text("implanted, even one switched off").count() == 1
        good = (
            "Yes"
            if re.search("Does the person feel|Can the person report|whole and calm", question.inner_text())
            else "No"
        )
        question.get_by_label("Yes" if bad else good, exact=True).check()
    press(page, "Keep the answers")
    expect(page.locator("main")).to_contain_text("No visit")
    assert faults(page, page.url) == []
    press(page, "Decide")
    assert faults(page, page.url) == []
    page.get_by_label("The visit may go on").check()
    page.get_by_label("Reason").fill("Taken out in 2019; the surgeon's letter was shown today.")
    press(page, "Keep the decision")
    expect(page.locator("main")).to_contain_text("The answers hold it back; a lead clinician lets it go on")


def sign_the_consent(page: Page, address: str, code: str) -> None:
    page.goto(f"{address}screening/{code}/consent/")
    expect(page.locator(".message")).to_contain_text("still the shipped example")
    assert faults(page, page.url) == []
    press(page, "Put your own text in its place")
    page.get_by_label("Text", exact=True).fill(
        "Invented House's own text: you agree to be warmed in six visits."
    )
    press(page, "Save as a new version")
    expect(page.locator(".message").first).to_contain_text("Version 1 is the text to sign")
    page.goto(f"{address}screening/{code}/consent/")
    page.get_by_label("I have read this text and agree").check()
    page.get_by_label("Name of the one who signs").fill("Tuva Sørmark")
    page.locator("#pad").scroll_into_view_if_needed()
    pad = page.locator("#pad").bounding_box()
    assert pad
    page.mouse.move(pad["x"] + 20, pad["y"] + 40)
    page.mouse.down()
    page.mouse.move(pad["x"] + 120, pad["y"] + 90, steps=5)
    page.mouse.up()
    press(page, "Sign")
    expect(page.locator(".message").first).to_have_text("Signed, and kept with its text.")
    page.locator("table a").first.click()
    expect(page.locator("main svg")).to_be_visible()
    assert faults(page, page.url) == []


def measure_with_a_slip(page: Page, address: str, code: str) -> None:
    page.goto(f"{address}measuring/{code}/start/")
    page.get_by_label("Region").select_option("thigh")
    page.get_by_label("Left").check()
    page.get_by_label("Fat thickness", exact=True).select_option("fat_ultrasound_1450")
    press(page, "Go on")
    first = ("61.2", "55.8", "49.4", "2.5", "23", "21", "26")
    second = ("61.3", "55.9", "49.5", "25", "23,4", "21.2", "26.1")
    expect(page.locator("input.number")).to_have_count(len(first + second))
    for box, typed in zip(page.locator("input.number").all(), first + second, strict=True):
        box.fill(typed)
    press(page, "Keep")
    expect(page.locator(".reading.asked")).to_contain_text(
        "the other reading had 2.5 mm; the slip may be in either"
    )
    page.locator("[name='r1-fat_0_front']").fill("25")
    press(page, "Keep")
    expect(page.locator("main")).to_contain_text("reading 1: 2.5, then 25")


def book_with_a_clash(page: Page, address: str, code: str) -> None:
    page.goto(f"{address}devices/device/add/")
    page.get_by_label("Name").fill("Device of the test")
    page.get_by_label("Manual: title and edition").fill("Invented manual, page 2")
    page.get_by_label("Most set power (W)").fill("120")
    page.get_by_label("Least gap (mm)").fill("8")
    press(page, "Save")
    expect(page.locator(".message")).to_have_text("Saved.")
    page.goto(f"{address}devices/panel/add/")
    page.get_by_label("Name").fill("plate")
    page.get_by_label("Width across the region (mm)").fill("100")
    page.get_by_label("Length along the region (mm)").fill("140")
    press(page, "Save")
    for region in ("thigh", "calf"):
        page.goto(f"{address}courses/{code}/add/")
        page.get_by_label("Region").select_option(region)
        page.get_by_label("Side").select_option("left")
        page.get_by_label("First visit").fill("2031-03-05T10:00")  # a Wednesday
        page.get_by_label("Device").select_option(label="Device of the test")
        page.get_by_label("Number of visits").fill("2")
        press(page, "Plan the visits")
        if region == "calf":
            expect(page.get_by_role("alert")).to_contain_text("Device of the test is taken then")
            press(page, "Plan the visits all the same")
        expect(page.locator(".message").first).to_have_text("2 visits planned.")
    page.goto(f"{address}courses/calendar/?show=day&day=2031-03-05")
    expect(page.locator(".entry-of")).to_have_count(2)
    with page.expect_download() as loaded:
        press(page, "As a calendar file")
    assert "DTSTART:20310305T100000Z" in loaded.value.path().read_text()


def plan_beyond_the_manual(page: Page, address: str) -> None:
    page.goto(f"{address}courses/calendar/?show=day&day=2031-03-05")
    page.locator(".entry-of").filter(has_text="thigh").click()
    press(page, "Plan this visit")
    expect(page.locator("[name='level1.girth']")).to_have_value("558.5")
    page.locator("[name='session.power']").fill("500")
    page.locator("[name='session.minutes']").fill("20")
    press(page, "Check and compute the forecast")
    expect(page.get_by_role("alert")).to_contain_text("500 W is more than the 120 W that the manual")
    expect(page.locator("[name='session.minutes']")).to_have_value("20")


def send_out(page: Page, address: str, code: str) -> None:
    for form, name in (("FHIR R4B bundle", "json"), ("CSV files", "zip"), ("PDF", "pdf")):
        page.goto(f"{address}exchange/person/{code}/")
        page.get_by_label(form).check()
        with page.expect_download() as loaded:
            press(page, "Make the file")
        assert loaded.value.suggested_filename.endswith(name)
        assert loaded.value.path().stat().st_size > 1000
    assert faults(page, f"{address}visits/1/") == []
    assert faults(page, f"{address}set-up/{code}/") == []
    page.goto(f"{address}trail/")
    expect(page.locator("tbody tr").nth(5)).to_be_visible()
