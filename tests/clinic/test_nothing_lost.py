"""Nothing entered on a tablet is lost: a real browser, a real server in its own process, real `kill -9`."""

import json
import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from evenfield.clinic.accounts.demonstration import PIN
from tests.clinic.browsing import SMALL_TARGETS, SMALL_TYPE, faults, serious, sign_in
from tests.clinic.live_place import Place, heating, kinds, note, number, saved, tablet_of, waiting
from tests.clinic.real_server import stop

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_a_killed_server_is_a_shrug(live: Page, place: Place) -> None:
    """Taps go on while it is dead; afterwards each is there once, in order, under its own time."""
    visit = number(place)
    live.get_by_role("button", name="Field on").click()
    saved(live)
    before = place.kept(visit)
    at_kill = live.evaluate("() => document.getElementById('live-clock').textContent")
    place.kill()
    for _ in range(3):
        live.locator(".zone").first.click()
    expect(live.locator("#live-pulse")).to_contain_text("Stale", timeout=6_000)
    assert live.locator("#live.stale").count() == 1
    assert waiting(live) == 3
    note(live, "entered while the server was dead")
    expect(live.locator("#live-waiting")).to_contain_text("entered while the server was dead")
    assert serious(live) == []
    place.again()
    saved(live)
    expect(live.locator("#live-pulse")).to_have_text("Live", timeout=30_000)
    after = place.kept(visit)
    assert after[: len(before)] == before
    assert [kind for _id, kind in after[len(before) :]] == ["hot_spot", "hot_spot", "hot_spot", "noted"]
    now = live.evaluate("() => document.getElementById('live-clock').textContent")
    assert _seconds(now) > _seconds(at_kill)  # the visit's clock went on, from its stored start
    told = live.evaluate("fetch(document.getElementById('live').dataset.now).then(a => a.json())")
    spots = [one["event"] for one in told["entries"] if one["kind"] == "hot_spot"]
    assert all(one["received_s"] - one["at_s"] > 3 for one in spots)  # written then, received later


def _seconds(clock: str) -> int:
    minutes, seconds = clock.split(":")
    return 60 * int(minutes) + int(seconds)


def test_what_waits_on_the_tablet_is_shown_as_entered(live: Page, place: Place) -> None:
    """While the server is away the button does not say "Pause" after a pause, and a double tap is one tap."""
    heating(live)
    live.wait_for_timeout(1000)
    before = kinds(place)
    field = live.locator("#live-field")
    live.route("**/entries/", lambda route: route.abort())
    live.route("**/now/**", lambda route: route.abort())
    field.dblclick()
    expect(field).to_have_text("Resume")
    assert waiting(live) == 1
    live.evaluate("scrollTo(0, document.body.scrollHeight)")
    expect(live.locator("#live-stale")).to_be_in_viewport(timeout=6_000)
    expect(live.locator("#live-stale")).to_contain_text("Stale")
    field.click()
    expect(field).to_have_text("Pause")
    live.keyboard.press("t")
    live.keyboard.type("83")
    live.keyboard.press("Enter")
    expect(live.locator("#live-tuning")).to_have_text("83 %")
    live.get_by_role("button", name="Undo").click()
    expect(live.locator("#live-tuning")).not_to_have_text("83 %")
    live.unroute("**/now/**")
    live.unroute("**/entries/")
    saved(live)
    assert kinds(place)[len(before) :] == ["paused", "resumed", "tuning_shown", "correction"]


def test_the_prompts_own_buttons_enter_what_it_asks_for(live: Page, place: Place) -> None:
    """One tap for the power it names, and for whether a hot spot has gone."""
    heating(live)
    if live.locator("#live-gone").is_visible():
        live.locator("#live-gone").click()
    saved(live)
    before = kinds(place)
    live.keyboard.press("p")
    live.keyboard.type("40")
    live.keyboard.press("Enter")
    live.keyboard.press("t")
    live.keyboard.type("70")
    live.keyboard.press("Enter")
    answers = live.locator("#live-prompt-entries button")
    expect(answers.first).to_have_text("30 W is set", timeout=30_000)
    answers.first.click()
    expect(live.locator("#live-power")).to_have_text("30 W")
    saved(live)
    assert kinds(place)[len(before) :] == ["power_set", "tuning_shown", "power_set"]
    told = {"id": "x:y", "entry": "hot_spot_gone", "suggested": None, "place": {"zone": "front: centre"}}

    def ask(route: Route) -> None:
        answer = route.fetch()
        content = answer.json()
        prompt = content["prompts"][0] if content["prompts"] else {"why": "", "source": "", "label": ""}
        content["prompts"] = [{**prompt, **told, "urgency": "soon", "what": "Gone?"}]
        route.fulfill(response=answer, json=content)

    live.route("**/now/**", ask)
    expect(answers).to_have_text(["It has gone", "Still there"], timeout=30_000)
    expect(live.locator("#live-done")).to_be_hidden()
    answers.nth(1).click()
    saved(live)
    answers.nth(0).click()
    saved(live)
    live.unroute_all(behavior="wait")
    assert kinds(place)[len(before) + 3 :] == ["hot_spot", "hot_spot_gone"]


def test_a_tap_is_not_lost_when_the_map_is_drawn_anew_under_the_finger(live: Page, place: Place) -> None:
    before = kinds(place)
    expect(live.locator(".zone").nth(2)).to_have_text(
        re.compile(r"\d"), timeout=300_000
    )  # is estimated, kernels compiled
    live.locator(".zone").nth(2).scroll_into_view_if_needed()
    box = live.locator(".zone").nth(2).bounding_box()
    assert box
    live.mouse.move(box["x"] + 20, box["y"] + 10)
    live.mouse.down()
    live.evaluate(
        "() => { const { dataset } = document.body; dataset.drawn = 'no';"
        " new MutationObserver(() => { dataset.drawn = 'yes'; })"
        ".observe(document.querySelector('#live-map'), {childList: true}); }"
    )
    live.evaluate(
        "() => fetch(document.getElementById('live').dataset.entries, {method: 'POST', headers: {"
        "'Content-Type': 'application/json', 'X-Requested-With': 'evenfield', 'X-CSRFToken':"
        " document.cookie.match(/evenfield_csrf=([^;]+)/)[1]}, body: JSON.stringify({sent_ms: Date.now(),"
        " entries: [{id: 'f'.repeat(32), wrote_ms: Date.now(), event: {kind: 'skin_reading', celsius: 35,"
        " zone: document.querySelectorAll('.zone')[2].dataset.zone}}]})})"
    )
    live.wait_for_timeout(2500)
    assert live.evaluate("document.body.dataset.drawn") == "no"
    live.mouse.up()
    expect(live.locator("body")).to_have_attribute("data-drawn", "yes")
    saved(live)
    assert kinds(place)[len(before) :] == ["skin_reading", "hot_spot"]


def test_the_screen_stays_open_while_heat_is_given(live: Page) -> None:
    """The tablet's clock is set ahead in small steps, as if nobody touched it for eleven minutes."""
    lock = live.locator("#lock-screen")
    live.evaluate(
        "() => { window.ahead = 0; const real = Date.now; Date.now = () => real() + window.ahead; }"
    )

    def pass_minutes(count: int) -> None:
        for _ in range(2 * count):
            live.evaluate("window.ahead += 30e3")
            live.wait_for_timeout(1200)

    heating(live)
    pass_minutes(6)
    expect(lock).to_be_hidden()
    live.locator("#live-field").click()
    expect(live.locator("#live-field")).to_have_text("Resume")
    saved(live)
    pass_minutes(6)
    expect(lock).to_be_visible()
    live.locator("#lock-secret").fill(PIN)
    live.keyboard.press("Enter")
    expect(lock).to_be_hidden()
    live.locator("#live-field").click()
    saved(live)


def test_without_network_and_after_a_reload_nothing_is_gone(
    live: Page, place: Place, tablet: BrowserContext
) -> None:
    before = kinds(place)
    tablet.set_offline(True)
    note(live, "no network")
    live.get_by_role("button", name="Too hot").click()
    expect(live.locator("#live-trouble")).to_contain_text("cannot be reached", timeout=30_000)
    assert waiting(live) == 2
    assert kinds(place) == before
    live.route("**/entries/", lambda route: route.abort())
    tablet.set_offline(False)  # the page comes again, sending does not yet
    live.reload()
    expect(live.locator("#live-pulse")).to_have_text("Live", timeout=30_000)
    assert waiting(live) == 2
    live.unroute("**/entries/")
    saved(live)
    assert kinds(place)[len(before) :] == ["noted", "too_hot_all_over"]


def test_an_answer_lost_on_the_way_makes_no_second_entry(live: Page, place: Place) -> None:
    before = kinds(place)
    lost: list[int] = []

    def lose(route: Route) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)  # the server keeps it
        route.abort()  # the tablet does not hear of it

    live.route("**/entries/", lose)
    note(live, "sent twice")
    saved(live)
    live.unroute("**/entries/")
    assert lost == [200]
    assert kinds(place)[len(before) :] == ["noted"]


def test_two_tablets_see_the_same_visit_and_a_wrong_clock_changes_no_time(
    live: Page, place: Place, real_browser: Browser
) -> None:
    other = real_browser.new_context()
    page = other.new_page()
    page.add_init_script("const real = Date.now; Date.now = () => real() + 5400e3;")  # 90 minutes fast
    sign_in(page, place.address, "lead")
    page.goto(live.url)
    expect(page.locator("#live-pulse")).to_have_text("Live", timeout=30_000)
    note(page, "from the other tablet")
    saved(page)
    live.get_by_text("Entries (").click()
    row = live.locator("#live-entries li", has_text="from the other tablet").first
    expect(row).to_contain_text("5400 s fast: corrected", timeout=30_000)
    expect(row).to_contain_text("lead")
    one, two = (_seconds(where.locator("#live-clock").inner_text()) for where in (live, page))
    assert abs(one - two) <= 1
    when = _seconds(row.locator(".when").inner_text())
    assert 0 <= one - when < 60
    other.close()


def test_a_refused_entry_stays_in_sight_until_its_words_are_kept(live: Page, place: Place) -> None:
    before = kinds(place)
    live.evaluate(
        "() => localStorage.setItem('evenfield.visit.' + document.getElementById('live').dataset.visit +"
        " '.waiting.' + 'r'.repeat(32), JSON.stringify({id: 'r'.repeat(32), wrote_ms: Date.now(),"
        " offset_ms: 0, by: 1, event: {kind: 'power_set', watts: 99999}}))"
    )
    live.reload()
    refused = live.locator("#live-refused li")
    expect(refused).to_contain_text("power set: 99999", timeout=30_000)
    live.reload()
    expect(refused).to_contain_text("less than or equal to 2000")
    assert kinds(place) == before
    refused.get_by_role("button", name="Keep as a note").click()
    expect(live.locator("#live-refused-box")).to_be_hidden(timeout=30_000)
    assert kinds(place)[len(before) :] == ["noted"]


def test_a_moved_side_is_entered_with_its_panel_and_how_far(live: Page, place: Place) -> None:
    """Which panel, which side of it and how far: one entry that holds all three."""
    before = [entry for entry, _ in place.kept(number(place))]
    live.keyboard.press("m")
    sheet = live.get_by_role("dialog")
    name = sheet.locator(".tiles-of").first.get_by_role("button").last.inner_text()
    sheet.get_by_role("button", name=name, exact=True).click()
    sheet.get_by_role("button", name=re.compile("upper side")).click()
    sheet.get_by_role("button", name="3 mm away", exact=True).click()
    saved(live)
    new = [(entry, kind) for entry, kind in place.kept(number(place)) if entry not in before]
    assert [kind for _, kind in new] == ["panel_moved"]
    with sqlite3.connect(f"file:{place.home}/evenfield.sqlite3?mode=ro", uri=True) as record:
        (kept,) = record.execute(
            "select content from visits_visitcontent where row_id ="
            " (select number from visits_visitentry where entry_id = ?)",
            new[0][:1],
        ).fetchone()
    assert json.loads(kept)["event"].items() >= {"panel": name, "side": "rising_level", "by_mm": 3}.items()


def test_undo_takes_back_by_a_correction(live: Page, place: Place) -> None:
    before = kinds(place)
    live.locator(".zone").nth(3).focus()
    live.keyboard.press("Enter")
    live.get_by_role("button", name="Undo").click()
    saved(live)
    assert kinds(place)[len(before) :] == ["hot_spot", "correction"]


def test_the_pages_of_a_visit_are_fit_for_hand_eye_and_keyboard(
    live: Page, place: Place, tablet: BrowserContext
) -> None:
    found = []
    for there in ("", "readings/", "close/", "unwanted/", "unwanted/reported/", "report/"):
        page = tablet.new_page()
        found += faults(page, f"{place.address}visits/{number(place)}/{there}")
        page.close()
    live.bring_to_front()
    for key, title in (
        ("p", "Power"), ("t", "Tuning"), ("k", "Skin"), ("c", "Comfort"), ("m", "Moved"),
        ("l", "Skin looked"), ("n", "Note"),
    ):  # fmt: skip
        live.keyboard.press(key)
        expect(live.locator("#sheet-title")).to_contain_text(title)
        found += serious(live) + live.evaluate(SMALL_TARGETS) + live.evaluate(SMALL_TYPE)
        assert live.evaluate("document.querySelector('dialog[open]').contains(document.activeElement)")
        live.keyboard.press("Escape")
        expect(live.locator("#live-sheet")).to_be_hidden()
    assert found == []


def test_a_number_is_entered_by_keyboard_and_a_wrong_one_is_asked_again(live: Page, place: Place) -> None:
    before = kinds(place)
    live.keyboard.press("t")
    live.keyboard.type("820")
    live.keyboard.press("Enter")
    expect(live.get_by_role("alert").filter(has_text="Allowed: 0 to 100 %")).to_be_visible()
    live.keyboard.press("Backspace")
    live.keyboard.press("Enter")
    saved(live)
    expect(live.locator("#live-tuning")).to_have_text("82 %")
    live.get_by_text("Sound, keys").click()
    live.locator("[data-do=keys]").click()
    live.locator("#live-keys").blur()
    live.keyboard.press("h")
    live.locator("[data-do=keys]").click()
    assert kinds(place)[len(before) :] == ["tuning_shown"]


def test_what_waits_is_sent_though_another_tablet_has_closed_the_visit(
    tmp_path: Path, real_browser: Browser
) -> None:
    """On a clinic of its own, since it ends the visit."""
    place = Place(tmp_path / "record")
    tablet, visit = tablet_of(real_browser, place), number(place)
    live = tablet.new_page()
    live.goto(f"{place.address}visits/{visit}/")
    expect(live.locator("#live-pulse")).to_have_text("Live", timeout=30_000)
    live.route("**/entries/", lambda route: route.abort())
    note(live, "left behind")
    other = real_browser.new_context()
    page = other.new_page()
    sign_in(page, place.address, "lead")
    page.goto(live.url)
    expect(page.locator("#live-pulse")).to_have_text("Live", timeout=30_000)
    page.get_by_role("button", name="Stop", exact=True).click()
    saved(page)
    page.get_by_role("link", name="Close").click()
    page.get_by_label("0: none").check()
    page.get_by_role("button", name="Close the visit").click()
    expect(page.get_by_text("The visit is closed.")).to_be_visible(timeout=30_000)
    live.wait_for_timeout(2500)
    assert live.locator("#live-saved").count() == 1  # it does not leave with something unsent
    assert waiting(live) == 1
    live.reload()
    expect(live.locator("#left")).to_contain_text("wait on this tablet: 1", timeout=30_000)
    assert "noted" not in [kind for _id, kind in place.kept(visit)[-2:]]
    live.unroute("**/entries/")
    expect(live.get_by_text("note: left behind")).to_be_visible(timeout=30_000)
    expect(live.locator("#left")).to_be_hidden()
    assert place.kept(visit)[-1][1] == "noted"
    other.close()
    tablet.close()
    stop(place.process)


def test_the_chain_holds_after_all_of_it(place: Place) -> None:
    home = f"Path({str(place.home)!r})"
    call = (
        "from pathlib import Path\n"
        "from evenfield.clinic.terminal import verify_audit\n"
        f"print(verify_audit({home}).problems or 'holds')"
    )
    clean = {"PATH": "/usr/bin:/bin"}
    said = subprocess.run(
        [sys.executable, "-c", call], capture_output=True, text=True, env=clean, check=False
    )
    assert said.stdout.strip() == "holds", said.stderr
