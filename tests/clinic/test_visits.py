"""A running visit: begun only when allowed; entries kept once, under right clocks; closed; reported."""

import io
import json
import re
import subprocess
import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from evenfield.clinic.access import Role
from evenfield.clinic.audit.compared import rows_unlike_the_trail
from evenfield.clinic.audit.trail import verify_chain
from evenfield.clinic.courses.models import Course, Visit, VisitState
from evenfield.clinic.devices.models import Device
from evenfield.clinic.people.leaving import EraseReason, erase, export_zip
from evenfield.clinic.people.models import Person
from evenfield.clinic.visits.clocks import happened
from evenfield.clinic.visits.models import VisitEntry
from evenfield.clinic.visits.plans import plan_of
from evenfield.clinic.visits.recording import take_batch
from evenfield.clinic.visits.running import begin, keep_beginning, running
from evenfield.clinic.visits.summary import summary
from tests.clinic.entries import entry, ms, sending


def test_entries_are_kept_once_and_each_has_its_own_answer(begun: Visit) -> None:
    body = sending(
        entry("start", "started", ago_s=60), entry("power", "power_set", watts=50, ago_s=50),
        entry("wrong", "power_set", watts=99999), entry("tuning", "tuning_shown", percent=85),
    )  # fmt: skip
    first = take_batch(begun.pk, body)
    assert [one.number is not None for one in first] == [True, True, False, True]
    assert "less than or equal to 2000" in first[2].refused
    again = take_batch(begun.pk, body)
    assert again == first
    assert VisitEntry.objects.filter(visit=begun).count() == 4  # begin, and three
    other = body["entries"][1] | {"event": {"kind": "power_set", "watts": 70}}
    assert "Another entry was kept under this id" in take_batch(begun.pk, sending(other))[0].refused
    state = running(begun).advice(None).state
    assert (state.field_on, state.power_w) == (True, 50)
    assert verify_chain().holds


def test_a_correction_changes_what_counts_and_keeps_what_was(begun: Visit) -> None:
    take_batch(
        begun.pk,
        sending(entry("start", "started", ago_s=60), entry("power", "power_set", watts=50, ago_s=40)),
    )
    wrong = entry("fix", "correction", of="entry-power", replacement={"kind": "power_set", "watts": 60})
    unknown = entry("fix2", "correction", of="entry-nothing", replacement=None)
    answers = take_batch(begun.pk, sending(wrong, unknown))
    assert [one.refused for one in answers] == ["", "The entry to correct is not in this visit."]
    run = running(begun)
    assert run.advice(None).state.power_w == 60
    power = summary(run).power
    assert [step.watts for step in power] == [0, 60]
    assert power[1].at_s == pytest.approx(20 * 60 - 40, abs=1)  # the time stays that of what was corrected
    assert [row.kind for row in run.rows] == ["begin", "started", "power_set", "correction"]


@pytest.mark.parametrize(
    ("off_s", "mark"), [(0.0, ""), (4000.0, "4000 s fast: corrected"), (-90000.0, "90000 s slow: corrected")]
)
def test_a_wrong_tablet_clock_changes_no_time(begun: Visit, off_s: float, mark: str) -> None:
    take_batch(begun.pk, sending(entry("late", "comfort", score=8, ago_s=300, off_s=off_s), off_s=off_s))
    row = running(begun).rows[-1]
    assert row.content["event"]["at_s"] == pytest.approx(20 * 60 - 300, abs=1)
    assert row.content["event"]["received_s"] == pytest.approx(20 * 60, abs=2)
    assert mark in row.content["clock"]["mark"]
    assert bool(mark) == bool(row.content["clock"]["mark"])


def test_a_clock_set_between_writing_and_sending_is_marked() -> None:
    start = timezone.now()
    received = start + timedelta(seconds=600)
    wrote = ms(start + timedelta(seconds=500))
    sure = happened(start, received, wrote, ms(received), 0.0)
    assert (sure.at_s, sure.mark) == (500.0, "")
    moved = happened(start, received, wrote, ms(received) + 60_000, 0.0)  # set one minute forward
    assert "set by 60 s" in moved.mark
    back = happened(start, received, wrote, wrote - 5_000, 0.0)  # set back beyond the time of writing
    assert back.at_s == 600.0
    assert "not certain" in back.mark


def test_two_tablets_write_into_one_visit(begun: Visit, browser: Callable[..., Client], account: Any) -> None:
    one, other = browser(Role.OPERATOR), browser(Role.LEAD)
    for client, name, score, ago_s in ((one, "one", 7, 5.0), (other, "other", 6, 0.0)):
        # Written just before it is sent: what passes until then, a first page that loads slowly, is its age.
        told = sending(entry(name, "comfort", score=score, ago_s=ago_s))
        sent = client.post(f"/visits/{begun.pk}/entries/", json.dumps(told), content_type="application/json")
        assert sent.json()["answers"][0]["kept"]
    assert begun.started_at
    earliest = (timezone.now() - begun.started_at).total_seconds()
    told = one.get(f"/visits/{begun.pk}/now/?after=0").json()
    latest = (timezone.now() - begun.started_at).total_seconds()
    assert [(row["kind"], row["who"]) for row in told["entries"]] == [
        ("begin", "terminal"), ("comfort", "operator"), ("comfort", "lead_clinician"),
    ]  # fmt: skip
    later = one.get(f"/visits/{begun.pk}/now/?after={told['last']}").json()
    assert later["entries"] == []
    assert later["state"]["comfort"] == 6
    assert earliest - 0.001 <= told["now_s"] <= latest + 0.001  # told in ms


def test_what_cannot_be_read_is_refused_as_a_whole(begun: Visit, browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    for body in ("{", "[]", '{"sent_ms": 1, "entries": []}', '{"sent_ms": 1, "entries": [{"id": "short"}]}'):
        sent = client.post(f"/visits/{begun.pk}/entries/", body, content_type="application/json")
        assert sent.status_code == 400
        assert sent.json()["problem"]
    assert VisitEntry.objects.filter(visit=begun).count() == 1


def test_the_manual_stands_above_the_profile_and_is_kept_with_the_visit(visit: Visit) -> None:
    device = Device(
        name="A", power_most_w=120, minutes_most=30, tuning_intended_percent=85, manual="m, page 1"
    )
    device.save()
    visit.device = device
    visit.save()
    one = begin(visit)
    device.power_most_w = 60  # changed later: a visit keeps what held when it began
    device.save()
    numbers = running(one).profile.numbers
    assert numbers.power_most_w.value == 120
    assert numbers.session_most_minutes.value == 30
    assert numbers.session_minutes.value <= 30
    assert numbers.tuning_least_percent.value == 85
    assert running(one).profile.number_words["power_most_w"] == "120"


def test_closing_needs_a_stop_and_leaves_a_report(
    begun: Visit, browser: Callable[..., Client], pdftotext: Path, tmp_path: Path
) -> None:
    client = browser(Role.OPERATOR, Role.LEAD)
    take_batch(
        begun.pk,
        sending(
            entry("start", "started", ago_s=1200), entry("power", "power_set", watts=60, ago_s=1200),
            entry("pause", "paused", ago_s=600), entry("on-again", "resumed", ago_s=480),
            entry("skin-1", "skin_reading", zone="front", celsius=36.4, ago_s=300),
        ),
    )  # fmt: skip
    said = {"redness": "1", "skin_words": "faint", "client_words": "pleasant", "next_words": "same again"}
    refused = client.post(f"/visits/{begun.pk}/close/", said)
    assert "not recorded as stopped" in refused.content.decode()
    take_batch(begun.pk, sending(entry("stop", "stopped")))
    event = {
        "number": "f" * 32, "term": "burn", "grade": "1", "words": "a coin-sized red place, front",
        "began": "after the stop", "done": "cooled", "told": "lead clinician, at once",
    }  # fmt: skip
    for _ in range(2):
        client.post(f"/visits/{begun.pk}/unwanted/", event)
    assert VisitEntry.objects.filter(visit=begun, kind="adverse").count() == 1
    assert client.post(f"/visits/{begun.pk}/close/", said).status_code == 302
    begun.refresh_from_db()
    assert begun.state == VisitState.DONE
    numbers = summary(running(begun))
    times = {row.kind: row.content["event"]["at_s"] for row in running(begun).rows if row.event}
    on_s = times["stopped"] - times["started"] - 120  # less the pause of two minutes
    assert 17 * 60 < on_s < 22 * 60
    assert numbers.heated_s == pytest.approx(on_s, abs=2)
    assert numbers.energy_wmin == pytest.approx(60 * on_s / 60, rel=0.01)
    assert numbers.paused_s == pytest.approx(120, abs=2)
    page = client.get(f"/visits/{begun.pk}/report/").content.decode()
    assert "“pleasant”" in page
    assert "CTCAE 5.0" in page
    assert client.get(f"/visits/{begun.pk}/picture.svg").content.startswith(b"<?xml")
    file = tmp_path / "report.pdf"
    file.write_bytes(client.get(f"/visits/{begun.pk}/report.pdf").content)
    call: list[Path | str] = [pdftotext, "-layout", file, "-"]
    text = " ".join(subprocess.run(call, capture_output=True, check=True, text=True).stdout.split())
    for words in ("faint", "Burn, grade 1", "skin 36.4 °C, front", "No estimate", "proves nothing"):
        assert words in text
    late = take_batch(begun.pk, sending(entry("late", "noted", text="found on the other tablet", ago_s=60)))
    assert late[0].number
    assert "after closing" in client.get(f"/visits/{begun.pk}/report/").content.decode()


def test_what_was_seen_after_the_stop_is_not_asked_twice_and_a_report_can_follow(
    begun: Visit, browser: Callable[..., Client]
) -> None:
    client = browser(Role.OPERATOR)
    take_batch(
        begun.pk,
        sending(
            entry("early", "skin_looked", redness=3, ago_s=700), entry("start", "started", ago_s=600),
            entry("slip", "power_set", watts=600, ago_s=590), entry("stop", "stopped", ago_s=30),
        ),
    )  # fmt: skip
    assert "checked" not in client.get(f"/visits/{begun.pk}/close/").content.decode()
    take_batch(begun.pk, sending(entry("look", "skin_looked", redness=2, broken=True)))
    page = client.get(f"/visits/{begun.pk}/close/").content.decode()
    ticked = [tag for tag in re.findall(r"<input[^>]*>", page) if "checked" in tag]
    assert ["redness" in ticked[0] and 'value="2"' in ticked[0], "broken" in ticked[1]] == [True, True]
    assert len(ticked) == 2
    fix = entry("fix", "correction", of="entry-slip", replacement={"kind": "power_set", "watts": 60})
    take_batch(begun.pk, sending(fix))
    event = {
        "number": "e" * 32, "term": "pruritus", "grade": "1", "words": "itches, inner side",
        "began": "at the end", "done": "looked at", "told": "",
    }  # fmt: skip
    client.post(f"/visits/{begun.pk}/unwanted/", event)
    client.post(f"/visits/{begun.pk}/close/", {"redness": "2"})
    report = f"/visits/{begun.pk}/report/"
    page = client.get(report).content.decode()
    assert "not yet entered" in page
    assert re.search(r"power 600 W <span[^>]*>corrected later", page)
    there = f"/visits/{begun.pk}/unwanted/reported/"
    assert "itches" in client.get(there).content.decode()
    told = {"number": "d" * 32, "of": "e" * 32, "told": "lead clinician, the next morning"}
    assert client.post(there, told | {"told": ""}).status_code == 200
    assert client.post(there, told | {"of": "a" * 32}).status_code == 200
    assert VisitEntry.objects.filter(visit=begun, kind="reported").count() == 0
    for _ in range(2):
        assert client.post(there, told).headers["Location"] == report
    page = client.get(report).content.decode()
    assert "not yet entered" not in page
    assert VisitEntry.objects.filter(visit=begun, kind="reported").count() == 1
    assert verify_chain().holds


def test_from_a_persons_pages_the_way_leads_to_the_visit(
    visit: Visit, browser: Callable[..., Client]
) -> None:
    client, code = browser(Role.OPERATOR), visit.person.code
    pages = (f"/people/{code}/", f"/screening/{code}/", f"/set-up/{code}/", f"/photographs/{code}/")
    there = f'href="/visits/{visit.pk}/"'
    for words in ("To the visit of today", "To the running visit"):
        for page in pages:
            content = client.get(page).content.decode()
            assert there in content, page
            assert words in content, page
        if visit.state == VisitState.PLANNED:
            begin(visit)
            visit.refresh_from_db()
    visit.state = VisitState.MISSED
    visit.save()
    assert [page for page in pages if there in client.get(page).content.decode()] == []


def test_a_visit_of_which_nothing_is_known_yet_has_its_pages(
    begun: Visit, browser: Callable[..., Client]
) -> None:
    client = browser(Role.OPERATOR)
    for there in ("", "close/", "unwanted/", "report/", "picture.svg", "report.pdf"):
        assert client.get(f"/visits/{begun.pk}/{there}").status_code == 200
    assert summary(running(begun)).energy_wmin == 0


def test_the_overview_names_every_running_visit(begun: Visit, browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    told = client.get("/visits/now/").json()["visits"]
    assert [one["person"] for one in told] == [begun.person.full_name]
    assert told[0]["phase"] == "setting up"
    assert begun.person.full_name in client.get("/visits/").content.decode()


def test_a_room_that_presses_stands_first(
    begun: Visit, person: Callable[..., Person], browser: Callable[..., Client]
) -> None:
    course = Course(person=person("Yara", "Mendelow"), region="calf", visits_planned=1, spacing_days=14)
    course.save()
    later = Visit(course=course, number=1, planned_start=timezone.now(), minutes=60)
    later.state, later.started_at = VisitState.RUNNING, timezone.now() - timedelta(minutes=2)
    later.save()
    keep_beginning(later)
    client = browser(Role.OPERATOR)
    assert [one["person"] for one in client.get("/visits/now/").json()["visits"]][1] == "Yara Mendelow"
    take_batch(later.pk, sending(entry("on", "started", ago_s=60), entry("spot", "hot_spot", zone="front")))
    told = client.get("/visits/now/").json()["visits"]
    assert (told[0]["person"], told[0]["urgency"]) == ("Yara Mendelow", "now")
    page = client.get("/visits/").content.decode()
    assert page.index("Mendelow") < page.index(begun.person.family_name)
    take_batch(later.pk, sending(entry("power", "power_set", watts=30.5)))
    assert client.get("/visits/now/").json()["visits"][0]["power_words"] == "30.5 W"
    take_batch(later.pk, sending(entry("stop", "stopped")))
    assert "30.5 W" not in client.get("/visits/").content.decode()


def test_a_prompt_to_move_a_panel_says_which_side_and_how_far_back(
    begun: Visit, browser: Callable[..., Client]
) -> None:
    client = browser(Role.OPERATOR)

    def moves() -> dict[str, Any]:
        told = client.get(f"/visits/{begun.pk}/now/").json()["prompts"]
        return {one["rule"]: one["move"] for one in told if one["move"]}

    take_batch(
        begun.pk,
        sending(entry("on", "started", ago_s=1190), entry("spot", "hot_spot", zone="front", ago_s=1100)),
    )
    assert moves()["hot_spot_move"] == {"panel": "front", "side": "whole", "by_mm": None}
    take_batch(
        begun.pk,
        sending(
            entry("move", "panel_moved", panel="front", by_mm=3, side="rising_level", ago_s=1090),
            entry("gone", "hot_spot_gone", zone="front", ago_s=1060),
        ),
    )
    assert moves() == {"hot_spot_return": {"panel": "front", "side": "rising_level", "by_mm": -3}}


@pytest.mark.parametrize(
    ("region", "names"),
    [("abdomen", ["front", "left", "back", "right"]), ("thigh", ["front", "inner", "back", "outer"])],
)
def test_without_a_plan_sides_have_the_words_of_the_region(region: str, names: list[str]) -> None:
    """A trunk has a left and a right, a limb an inner and an outer side."""
    assert [place["label"] for place in plan_of({}, region).places] == names
    damaged = plan_of({"case": "no case"}, region)
    assert [place["label"] for place in damaged.places] == names


def test_erasure_removes_what_was_entered_and_export_holds_it(begun: Visit, account: Any) -> None:
    take_batch(begun.pk, sending(entry("note", "noted", text="very private")))
    person = begun.person
    assert running(begun).rows[-1].content["event"]["text"] == "very private"
    assert b"very private" in _unzipped(export_zip(person, "Invented"))
    erase(person, EraseReason.ASKED)
    assert rows_unlike_the_trail() == []
    begun.refresh_from_db()
    assert verify_chain().holds
    assert running(begun).rows == ()


def _unzipped(content: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return b"".join(archive.read(name) for name in archive.namelist())
