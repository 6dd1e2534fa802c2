"""Every page in a real browser: accessible, large enough, nothing lost, and without scripts too."""

import io
import math
import re
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import plotly  # type: ignore[import-untyped]
import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from evenfield.clinic import planning
from evenfield.clinic.accounts.demonstration import PIN
from tests.clinic.browsing import SIZES, SMALL_TARGETS, SMALL_TYPE, faults, serious, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.slow]


OPEN_PAGES = ["sign-in/", "set-password/", "about/", "nothing-here/"]


OWNER_PAGES = [
    "", "people/", "people/add/", "staff/", "staff/add/", "staff/2/", "settings/", "trail/",
    "trail/?action=update",
    "screening/consent-text/", "screening/questions-asked/", "measuring/protocols/",
    "courses/calendar/", "courses/calendar/?show=day", "courses/calendar/own/", "courses/rules/",
    "courses/open/", "courses/visit/1/", "courses/course/1/change/", "courses/course/1/state/",
    "courses/course/1/visit/", "devices/", "devices/device/1/", "devices/panel/1/", "devices/room/1/",
    "planning/visit/1/", "planning/plan/1/", "planning/plan/1/change/", "planning/plan/1/what-if/",
    "planning/plan/1/placing/", "planning/plan/1/sureness/", "planning/plan/1/advice/",
    "visits/", "visits/next-steps/", "visits/practice/",
    "exchange/take-in/", "exchange/visit/1/", "api/tokens/", "api/tokens/all/", "upkeep/backup/",
    "account/", "account/password/", "account/pin/", "account/codes/", "account/codes/stop/",
]  # fmt: skip


PLANNED_PAGES = ["", "move/", "cancel/", "missed/"]


PERSON_PAGES = ["", "change/", "merge/", "deactivate/", "erase/"]


PERSON_PARTS = [
    "screening/{}/",
    "screening/{}/questions/",
    "screening/{}/consent/",
    "screening/{}/sheet/",
    "set-up/{}/",
    "measuring/{}/",
    "measuring/{}/start/",
    "measuring/{}/enter/?region=abdomen&girth=abdomen_navel_tape&fat=fat_skinfold&weight=1",
    "photographs/{}/",
    "photographs/{}/take/",
    "courses/{}/add/",
    "courses/{}/all/",
    "planning/person/{}/",
    "exchange/person/{}/",
]


@pytest.fixture(scope="module")
def as_owner(real_browser: Browser, demonstration: str) -> Iterator[BrowserContext]:
    """A browser signed in as the owner of the invented clinic."""
    context = real_browser.new_context()
    sign_in(context.new_page(), demonstration)
    yield context
    context.close()


@pytest.fixture(scope="module")
def addresses(as_owner: BrowserContext, demonstration: str) -> list[str]:
    """Every page the owner can see."""
    page = as_owner.new_page()
    twice, measured = code_of(page, demonstration, "palander"), code_of(page, demonstration, "holvat")
    page.goto(f"{demonstration}courses/calendar/?show=day")
    planned = page.locator(".entry-of", has_text="Pallandér").first.get_attribute("href")
    page.goto(f"{demonstration}measuring/{measured}/")
    kept = page.locator("main a[href*='/kept/']").first.get_attribute("href")
    assert planned
    assert kept
    page.goto(demonstration + kept.lstrip("/"))
    correct = page.get_by_role("link", name="Correct").first.get_attribute("href")
    assert correct
    page.close()
    return (
        [demonstration + there for there in OWNER_PAGES]
        + [demonstration + planned.lstrip("/") + there for there in PLANNED_PAGES]
        + [f"{demonstration}people/{twice}/{there}" for there in PERSON_PAGES]
        + [demonstration + there.format(measured) for there in PERSON_PARTS]
        + [demonstration + there.lstrip("/") for there in (kept, correct)]
    )


def test_every_page_of_the_owner(as_owner: BrowserContext, addresses: list[str]) -> None:
    wrong = []
    for address in addresses:
        page = as_owner.new_page()
        wrong += faults(page, address)
        page.close()
    assert not wrong, "\n".join(wrong)


def test_every_page_before_signing_in(real_browser: Browser, demonstration: str) -> None:
    wrong = []
    context = real_browser.new_context()
    for there in OPEN_PAGES:
        page = context.new_page()
        wrong += faults(page, demonstration + there)
        page.close()
    context.close()
    assert not wrong, "\n".join(wrong)


def test_axe_does_find_what_is_wrong(as_owner: BrowserContext, demonstration: str) -> None:
    """The checks above can fail: a page spoilt on purpose."""
    page = as_owner.new_page()
    page.goto(f"{demonstration}people/add/")
    page.evaluate(
        "() => { document.querySelector('label').remove();"
        " const b = document.querySelector('button.main').style;"
        " b.minHeight = b.height = '20px'; b.padding = 0; b.fontSize = '10px'; }"
    )
    assert any(" label:" in one for one in serious(page))
    assert page.evaluate(SMALL_TARGETS)
    assert page.evaluate(SMALL_TYPE)
    page.close()


def test_an_idle_screen_locks_and_the_pin_brings_back_what_was_typed(
    real_browser: Browser, demonstration: str
) -> None:
    context = real_browser.new_context()
    page = context.new_page()
    page.clock.install()
    sign_in(page, demonstration, "operator")
    page.goto(f"{demonstration}people/add/")
    page.get_by_label("Given name").fill("half typed")
    page.clock.fast_forward("04:50")
    expect(page.locator("#lock-screen")).to_be_hidden()
    with page.expect_response("**/locked/now/"):
        page.clock.fast_forward("00:20")
    expect(page.locator("#lock-screen")).to_be_visible()
    expect(page.locator("#page")).to_be_hidden()
    assert serious(page) == []
    page.keyboard.press("Escape")
    expect(page.locator("#lock-screen")).to_be_visible()
    refused = context.request.get(f"{demonstration}people/", max_redirects=0)
    assert refused.status == 302
    assert "/locked/" in refused.headers["location"]

    page.get_by_label("PIN or password").fill("111222")
    page.keyboard.press("Enter")
    expect(page.locator("#lock-problem")).to_have_text("This did not match. Tries left: 4.")
    page.get_by_label("PIN or password").fill(PIN)
    page.keyboard.press("Enter")
    expect(page.locator("#lock-screen")).to_be_hidden()
    expect(page.get_by_label("Given name")).to_have_value("half typed")
    page.goto(f"{demonstration}people/")
    expect(page.get_by_role("heading", level=1)).to_have_text("People")
    context.close()


def test_a_pin_typed_while_another_is_checked_is_not_wiped(real_browser: Browser, demonstration: str) -> None:
    context = real_browser.new_context()
    page = context.new_page()
    sign_in(page, demonstration, "operator")
    page.goto(demonstration)
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route("**/locked/", hold)
    with page.expect_response("**/locked/now/"):
        page.get_by_role("button", name="Lock", exact=True).click()
    field = page.locator("#lock-secret")
    field.fill("111222")
    page.keyboard.press("Enter")
    expect(field).to_be_disabled()
    while not held:
        page.wait_for_timeout(50)
    held.pop().continue_()
    expect(page.locator("#lock-problem")).to_have_text("This did not match. Tries left: 4.")
    expect(field).to_be_enabled()
    expect(field).to_be_focused()
    page.unroute("**/locked/")
    page.keyboard.type(PIN)
    page.keyboard.press("Enter")
    expect(page.locator("#lock-screen")).to_be_hidden()
    context.close()


def test_a_lock_that_did_not_reach_the_server_is_said_again(
    real_browser: Browser, demonstration: str
) -> None:
    """Else whoever reloads the page of a tablet left alone is let in."""
    context = real_browser.new_context()
    page = context.new_page()
    sign_in(page, demonstration, "operator")
    page.goto(demonstration)  # and its scripts are there, which say it again
    page.route("**/locked/now/", lambda route: route.abort(), times=2)
    with page.expect_response("**/locked/now/"):
        page.get_by_role("button", name="Lock", exact=True).click()
    expect(page.locator("#lock-screen")).to_be_visible()
    page.goto(f"{demonstration}people/")
    expect(page.get_by_label("PIN or password")).to_be_visible()
    assert "/locked/" in page.url
    context.close()


def test_matches_appear_while_one_types(as_owner: BrowserContext, demonstration: str) -> None:
    page = as_owner.new_page()
    page.goto(f"{demonstration}people/")
    page.get_by_label("Name, code or date of birth").focus()
    page.keyboard.type("marushka")
    expect(page.locator(".people")).to_contain_text("Maruška Holvat")
    assert "marushka" not in page.url
    page.close()


def test_without_scripts_the_same_work_is_possible(real_browser: Browser, demonstration: str) -> None:
    context = real_browser.new_context(java_script_enabled=False)
    page = context.new_page()
    sign_in(page, demonstration, "lead")
    page.goto(f"{demonstration}people/")
    page.get_by_label("Name, code or date of birth").fill("okkerven")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="Rosalind Okkerveen").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Rosalind Okkerveen")
    page.get_by_role("link", name="Change").click()
    page.get_by_label("Telephone").fill("0100 555 0102")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("main")).to_contain_text("0100 555 0102")
    page.get_by_role("button", name="Lock", exact=True).click()
    page.get_by_label("PIN or password").fill(PIN)
    page.get_by_role("button", name="Continue").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Hello")
    context.close()


def test_a_clash_is_warned_of_and_confirmed_by_keyboard(as_owner: BrowserContext, demonstration: str) -> None:
    page = as_owner.new_page()
    page.goto(f"{demonstration}courses/calendar/?show=day")
    first, second = (page.locator(".entry-of").nth(place) for place in (0, 1))
    taken, other = first.get_attribute("href"), second.get_attribute("href")
    page.goto(f"{demonstration.rstrip('/')}{taken}move/")
    when = page.get_by_label("Start").input_value()
    room = page.get_by_label("Room", exact=True).input_value()
    page.goto(f"{demonstration.rstrip('/')}{other}move/")
    page.get_by_label("Start").fill(when)
    page.get_by_label("Room", exact=True).select_option(room)
    page.get_by_role("button", name="Move it").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("is taken then")
    assert serious(page) == []
    page.get_by_role("button", name="Move it all the same").focus()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_contain_text("Booked despite")
    page.goto(f"{demonstration}courses/calendar/?show=day")
    boxes = [page.locator(".entry-of").nth(place).bounding_box() for place in (0, 1)]
    assert boxes[0]
    assert boxes[1]
    assert boxes[0]["x"] + boxes[0]["width"] <= boxes[1]["x"]  # side by side, not one over the other
    page.close()


def test_the_keyboard_reaches_everything_and_shows_where_it_is(
    as_owner: BrowserContext, demonstration: str
) -> None:
    page = as_owner.new_page()
    page.goto(f"{demonstration}people/")
    wanted = page.evaluate(
        "[...document.querySelectorAll('a, button, input, select')].filter(e => e.checkVisibility()"
        " && e.type !== 'hidden').length"
    )
    reached = set()
    for _ in range(wanted):
        page.keyboard.press("Tab")
        here = page.evaluate(
            "() => { const e = document.activeElement, s = getComputedStyle(e);"
            " return [e.outerHTML, s.outlineStyle, parseFloat(s.outlineWidth)]; }"
        )
        assert here[1] != "none", here
        assert here[2] >= 2, here
        reached.add(here[0])
    assert len(reached) == wanted
    page.close()


def code_of(page: Page, address: str, name: str) -> str:
    """The code of the person found by this name."""
    page.goto(f"{address}people/")
    page.get_by_label("Name, code or date of birth").fill(name)
    page.get_by_role("button", name="Find").click()
    page.locator(".people a").first.click()
    return page.url.rstrip("/").rsplit("/", 1)[1]


def test_a_set_is_entered_from_the_keyboard_and_a_slip_is_named(
    as_owner: BrowserContext, demonstration: str
) -> None:
    page = as_owner.new_page()
    code = code_of(page, demonstration, "holvat")
    page.goto(f"{demonstration}measuring/{code}/start/")
    page.get_by_role("link", name="Left thigh").click()
    page.wait_for_load_state()
    expect(page.locator("[id='r1-girth_80']")).to_be_focused()
    for number in ("24.1", "55.7", "49.3", "19.6", "23.3", "21.1", "26.0"):
        page.keyboard.type(number)
        page.keyboard.press("Enter")
    for number in ("61,4", "55,5", "49,5", "19.8", "23.5", "21.3", "25.8"):
        page.keyboard.type(number)
        page.keyboard.press("Enter")
    expect(page.get_by_label("Note")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Keep")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".reading.asked")).to_contain_text("Inches typed as centimetres: 61.2 cm?")
    expect(page.locator("[id='r1-girth_80']")).to_be_focused()
    assert serious(page) == []
    page.locator("[id='r1-girth_80']").fill("61.2")
    page.get_by_role("button", name="Keep").click()
    expect(page.locator("main")).to_contain_text(
        "Girth, 8.0 cm above the landmark, reading 1: 24.1, then 61.2"
    )
    page.close()


def test_a_script_that_comes_late_calls_nobody_away_from_what_they_type(
    as_owner: BrowserContext, demonstration: str
) -> None:
    page = as_owner.new_page()
    code = code_of(page, demonstration, "holvat")
    held: list[Route] = []
    page.route("**/measuring/entry*.js", lambda route: held.append(route))
    page.goto(
        f"{demonstration}measuring/{code}/enter/?region=abdomen&girth=abdomen_navel_tape&weight=1",
        wait_until="commit",
    )
    second = page.locator("input.number").nth(1)
    second.press_sequentially("8")
    with page.expect_event("load"):
        held[0].continue_()
    page.keyboard.type("8.5")
    expect(second).to_have_value("88.5")
    page.close()


def test_one_photograph_lies_over_the_other_and_without_scripts_beside_it(
    as_owner: BrowserContext, real_browser: Browser, demonstration: str
) -> None:
    page = as_owner.new_page()
    code = code_of(page, demonstration, "holvat")
    compare = f"{demonstration}photographs/{code}/2/"
    assert faults(page, compare) == []
    assert faults(page, f"{compare}withdraw/") == []
    page.goto(compare)
    first, later = page.locator("#pair img").all()
    assert first.bounding_box() == later.bounding_box()
    page.locator("#share").focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    expect(later).to_have_css("opacity", "0.7")
    page.get_by_role("button", name="Side by side").click()
    expect(later).to_have_css("opacity", "1")
    page.close()
    plain = real_browser.new_context(java_script_enabled=False, viewport={"width": 1024, "height": 768})
    page = plain.new_page()
    sign_in(page, demonstration, "lead")
    page.goto(compare)
    boxes = [one.bounding_box() for one in page.locator("#pair img").all()]
    assert boxes[0]
    assert boxes[1]
    assert boxes[1]["x"] >= boxes[0]["x"] + boxes[0]["width"]
    expect(page.locator("#share")).to_be_hidden()
    plain.close()


def test_a_file_is_looked_over_and_taken_in_from_the_keyboard(
    as_owner: BrowserContext, demonstration: str
) -> None:
    page = as_owner.new_page()
    page.goto(f"{demonstration}exchange/take-in/")
    text = "given name;family name;born\nTuva;Invented;1990-01-02\nYarah;Mendelow;1979-02-28\n"
    file: Any = {"name": "people.csv", "mimeType": "text/csv", "buffer": text.encode()}
    page.get_by_label("CSV file").set_input_files(file)
    page.get_by_role("button", name="Look it over").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("2 people in the file")
    expect(page.locator("tbody tr").first).to_contain_text("Tuva · Invented · 1990-01-02")
    assert serious(page) == []
    for width, height in SIZES.values():
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(SMALL_TARGETS) == []
    if page.get_by_label("I have looked at every row").count():
        page.get_by_label("I have looked at every row").press("Space")
    page.get_by_role("button", name="Take in 2 people").press("Enter")
    expect(page.locator(".message")).to_contain_text("Taken in: 2 people")
    page.close()


def test_a_plan_is_changed_by_keyboard_computed_watched_and_seen_in_space(
    as_owner: BrowserContext, demonstration: str
) -> None:
    """With a real forecast, which takes most of this test's time."""
    page = as_owner.new_page()
    page.set_viewport_size({"width": 1024, "height": 768})
    page.goto(f"{demonstration}planning/plan/1/change/")
    gap = page.get_by_label("Gap (mm)").first
    gap.fill("1,5")
    gap.press("Enter")
    expect(gap).to_be_focused()  # what is wrong is found at once
    expect(page.locator("#p0-gap_mm-wrong")).to_contain_text("allowed from 2 to 80")
    assert serious(page) == []
    gap.fill("11,5")
    page.get_by_label("Minutes with power").fill("12")
    page.get_by_label("Minutes with power").press("Enter")
    expect(page.locator("#job-state")).to_have_text("being computed")
    assert serious(page) == []
    page.reload()
    expect(page.locator("#job-step")).to_have_text(re.compile("field|heat|ready"))
    plan = page.url
    page.goto(f"{plan}what-if/")
    page.get_by_role("button", name="Prepare quick answers").click()
    page.get_by_role("button", name="Cancel").click()
    expect(page.locator("main")).to_contain_text("was cancelled")
    page.get_by_role("button", name="Gap (mm): less").first.press("Enter")
    expect(page.get_by_label("Gap (mm)", exact=True).first).to_have_value("10.5")
    page.goto(plan)
    expect(page.get_by_role("heading", name="What the forecast says")).to_be_visible(timeout=180_000)
    assert faults(page, plan) == []
    pictures = page.locator("main img")
    expect(pictures).to_have_count(4)
    assert all(one.evaluate("e => e.complete && e.naturalWidth > 0 && e.alt") for one in pictures.all())
    page.set_viewport_size({"width": 1024, "height": 768})
    page.get_by_role("button", name="Save as the plan of the visit").click()
    expect(page.locator("main")).to_contain_text("This is the plan of the visit")
    assert faults(page, f"{plan}space/") == []
    expect(page.locator("#space")).to_have_attribute("data-drawn", "yes", timeout=60_000)
    expect(page.locator("#space")).to_contain_text("skin, °C")
    page.get_by_label("Colour shows").select_option("fat_c")
    expect(page.locator("#space")).to_contain_text("hottest fat, °C")
    page.close()


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1024, 768), (1440, 900)])
def test_nothing_of_the_view_in_space_is_cut_at_its_edges(
    real_browser: Browser, width: int, height: int
) -> None:
    """An invented trunk with a panel before and behind it: along the edges of the view nothing is drawn."""
    around = [2 * math.pi * n / 40 for n in range(40)]
    levels = range(-150, 151, 15)
    panels = [
        {"name": "panel", "points": [[x, y, z] for z in (-90, 90) for y in (-120, -40, 40, 120)]}
        for x in (150, -150)
    ]
    told = {
        "shape": [len(levels), len(around)],
        "x": [130 * math.cos(a) for _ in levels for a in around],
        "y": [170 * math.sin(a) for _ in levels for a in around],
        "z": [z for z in levels for _ in around],
        "skin_c": [34 + 3 * math.cos(a) for _ in levels for a in around],
        "panels": panels,
    }
    files = Path(planning.__file__).parent / "static" / "planning"
    words = f"""<!doctype html><style>body {{ margin: 0; padding: 16px }}
        {(files / "planning.css").read_text()} #space {{ border: 0 }}</style>
        <select id="what"><option value="skin_c">skin</option></select>
        <div id="space" data-surface="/surface.json"></div><div id="turns" hidden></div>"""
    page = real_browser.new_page(viewport={"width": width, "height": height})
    page.route("**/surface.json", lambda route: route.fulfill(json=told))
    page.route("**/page", lambda route: route.fulfill(body=words, content_type="text/html; charset=utf-8"))
    page.goto("http://invented.invalid/page")
    page.add_script_tag(path=Path(plotly.__file__).parent / "package_data" / "plotly.min.js")
    page.add_script_tag(path=files / "space.js")
    expect(page.locator("#space")).to_have_attribute("data-drawn", "yes", timeout=60_000)
    page.wait_for_timeout(1000)
    seen = Image.open(io.BytesIO(page.locator("#space").screenshot())).convert("L")
    page.close()
    assert min(seen.tobytes()) < 100  # something is drawn
    wide, high = seen.size
    edges = [(0, 0, 2, high), (wide - 2, 0, wide, high), (0, 0, wide, 2), (0, high - 2, wide, high)]
    assert [min(seen.crop(edge).tobytes()) for edge in edges] == [255] * 4


@pytest.fixture
def printed(as_owner: BrowserContext, addresses: list[str]) -> Iterator[Callable[[str], Page]]:
    """A page as it is printed."""
    page = as_owner.new_page()

    def show(ending: str) -> Page:
        page.goto(next(address for address in addresses if address.endswith(ending)))
        page.emulate_media(media="print")
        return page

    yield show
    page.close()


def test_on_paper_there_is_the_record_and_no_buttons(printed: Callable[[str], Page]) -> None:
    page = printed("trail/")
    expect(page.locator("nav")).to_be_hidden()
    expect(page.locator(".who")).to_be_hidden()
    expect(page.locator("table")).to_be_visible()
    expect(page.locator(".demonstration")).to_be_visible()


def test_on_paper_warnings_stay_and_the_sheet_to_take_home_is_one_page(
    printed: Callable[[str], Page], demonstration: str, pdftotext: Path, tmp_path: Path
) -> None:
    """What speaks against going on is printed; only "Saved." and its like are left out."""
    page = printed("/consent/")
    expect(page.locator(".message.warning")).to_be_visible()
    page = printed("/sheet/")
    edge: Any = dict.fromkeys(("top", "right", "bottom", "left"), "10mm")
    page.pdf(path=tmp_path / "sheet.pdf", format="Letter", margin=edge)
    told = subprocess.run(
        [pdftotext.with_name("pdfinfo"), tmp_path / "sheet.pdf"], capture_output=True, text=True, check=True
    )
    assert re.search(r"^Pages:\s+1$", told.stdout, re.MULTILINE), told.stdout
