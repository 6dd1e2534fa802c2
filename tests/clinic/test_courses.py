"""Courses, visits, calendar: spacing over changes of the clock, warnings that ask, and files others read."""

import json
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from io import BytesIO
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import timezone

from evenfield.clinic.access import Role
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.compared import rows_unlike_the_trail
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.courses.booking import Slot, at_clinic, series, warnings
from evenfield.clinic.courses.models import BookingRules, CalendarAddress, Course, Visit, VisitState
from evenfield.clinic.courses.visits import (
    VisitError,
    add_visits,
    begin_visit,
    cancel_visit,
    end_visit,
    miss_visit,
    move_visit,
)
from evenfield.clinic.devices.models import Device, TreatmentRoom
from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.people.leaving import EraseReason, erase, export_zip
from evenfield.clinic.people.merging import merge
from evenfield.clinic.people.models import Person

NOW = datetime(2031, 1, 6, 8, tzinfo=UTC)  # a Monday
MONDAY = date(2031, 3, 3)


@pytest.fixture(autouse=True)
def _clinic(db: None, terminal: Actor) -> Iterator[None]:
    """A clinic in Lisbon, open Monday to Friday from nine to six."""
    Clinic(name="Invented", time_zone="Europe/Lisbon").save()
    with timezone.override(ZoneInfo("Europe/Lisbon")):
        yield


@pytest.fixture
def course(person: Callable[..., Person]) -> Callable[..., Course]:
    """Make a course; of somebody new unless a person is given."""

    def make(whose: Person | None = None, region: str = "abdomen", **fields: object) -> Course:
        given = {"visits_planned": 6, "spacing_days": 14} | fields
        made = Course(person=whose or person(), region=region, **given)
        made.save()
        return made

    return make


def at(hour: int, minute: int = 0, day: date = MONDAY) -> datetime:
    """This hour on the clinic's clock."""
    return at_clinic(day, time(hour, minute))


def put(course: Course, *slots: Slot) -> list[Visit]:
    """These visits in the course."""
    return add_visits(course, slots, [""] * len(slots))


def said(course: Course, *slots: Slot, moving: tuple[Visit, ...] = ()) -> list[tuple[int, str]]:
    """The kinds of warnings for these slots."""
    found = warnings(course, slots, BookingRules.present(), now=NOW, moving=moving)
    return [(one.slot, one.kind) for one in found]


# Summer time begins on the last Sunday of March and ends on the last Sunday of October at 01:00 UTC in the EU
# (Directive 2000/84/EC); in New York on the second Sunday of March and the first of November
# (15 U.S.C. 260a).
@pytest.mark.parametrize(
    ("zone", "first", "utc_hours"),
    [
        ("Europe/Lisbon", date(2031, 3, 17), [10, 9, 9]),
        ("Europe/Lisbon", date(2031, 10, 20), [9, 10, 10]),
        ("America/New_York", date(2031, 3, 3), [15, 14, 14]),
    ],
)
def test_a_series_keeps_the_hour_on_the_clinics_clock(zone: str, first: date, utc_hours: list[int]) -> None:
    with timezone.override(ZoneInfo(zone)):
        starts = series(at_clinic(first, time(10)), 3, 14, BookingRules.present())
        assert [start.time() for start in starts] == [time(10)] * 3
    assert [start.astimezone(UTC).hour for start in starts] == utc_hours
    assert [start.date() - first for start in starts] == [timedelta(days=14 * place) for place in range(3)]


def test_a_closed_day_gives_way_to_the_next_open_one_and_an_hour_the_clock_skips_to_the_one_after() -> None:
    starts = series(at(10), 3, 5, BookingRules.present())  # Monday, Saturday, and five days after that
    assert [f"{start:%a %d}" for start in starts] == ["Mon 03", "Mon 10", "Mon 17"]
    rules = BookingRules(open_days="1234567")
    starts = series(at(1, 30, date(2031, 3, 29)), 2, 1, rules)
    assert f"{starts[1]:%d %H:%M %Z}" == "30 02:30 WEST"


def test_what_takes_up_the_same_is_told_and_what_only_touches_is_not(
    course: Callable[..., Course], account: Callable[..., object]
) -> None:
    room, device = TreatmentRoom(name="One"), Device(name="Invented device")
    room.save()
    device.save()
    staff = account(Role.OPERATOR)
    put(course(), Slot(at(10), 60, room, device, staff))  # type: ignore[arg-type]
    other = course()
    assert said(other, Slot(at(10, 30), 60, room)) == [(0, "room")]
    assert said(other, Slot(at(9, 30), 31, None, device)) == [(0, "device")]
    assert said(other, Slot(at(10, 59), 60, None, None, staff)) == [(0, "staff")]  # type: ignore[arg-type]
    assert said(other, Slot(at(10), 60, room, device, staff)) == [(0, "room"), (0, "device"), (0, "staff")]  # type: ignore[arg-type]
    assert said(other, Slot(at(11), 60, room, device), Slot(at(9, 0, date(2031, 4, 1)), 60, room)) == []
    assert said(other, Slot(at(9), 60, room, device)) == []
    assert said(other, Slot(at(10), 60)) == []


def test_a_visit_that_fell_out_takes_up_nothing_and_a_moved_one_is_not_in_its_own_way(
    course: Callable[..., Course],
) -> None:
    room = TreatmentRoom(name="One")
    room.save()
    visit = put(course(), Slot(at(10), 60, room))[0]
    assert said(visit.course, Slot(at(10, 15), 60, room), moving=(visit,)) == []
    assert said(course(), Slot(at(10), 60, room)) == [(0, "room")]
    cancel_visit(visit, "the client is ill")
    assert said(course(), Slot(at(10), 60, room)) == []


def test_the_client_cannot_be_in_two_places_nor_the_same_region_come_too_soon(
    course: Callable[..., Course], person: Callable[..., Person]
) -> None:
    kept, double = person(), person()
    left = course(double, "thigh", side="left")
    put(left, Slot(at(10), 60))
    merge(kept, double, {})
    kept.refresh_from_db()
    same = course(kept, "thigh", side="left")
    assert said(same, Slot(at(10, 30), 60)) == [(0, "person"), (0, "spacing")]
    day = MONDAY + timedelta(days=6)
    assert said(same, Slot(at(10, 0, day), 60)) == [(0, "hours"), (0, "spacing")]
    assert said(same, Slot(at(10, 0, MONDAY - timedelta(days=6)), 60)) == [(0, "spacing")]
    assert said(same, Slot(at(10, 0, MONDAY + timedelta(days=7)), 60)) == []
    assert said(course(kept, "thigh", side="right"), Slot(at(12), 60)) == []
    assert said(course(kept, "thigh"), Slot(at(12), 60)) == [(0, "spacing")]
    assert said(course(kept, "calf"), Slot(at(12), 60)) == []
    assert said(course(), Slot(at(10), 60), Slot(at(10, 0, date(2031, 3, 7)), 60)) == [(1, "spacing")]


def test_closed_days_hours_and_the_past_are_told(course: Callable[..., Course]) -> None:
    one = course()
    assert said(one, Slot(at(9), 60), Slot(at(17, 0, date(2031, 4, 1)), 60)) == []
    assert said(one, Slot(at(8, 59), 30)) == [(0, "hours")]
    assert said(one, Slot(at(17, 1), 60)) == [(0, "hours")]
    assert said(one, Slot(at(10, 0, date(2031, 3, 8)), 60)) == [(0, "hours")]
    assert said(one, Slot(at(10, 0, date(2031, 1, 3)), 60)) == [(0, "past")]


def test_a_course_is_booked_through_the_page_and_a_clash_needs_a_confirmation(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    room = TreatmentRoom(name="One")
    room.save()
    first, second, client = person(), person("Yara", "Mendelow"), browser(Role.OPERATOR)
    day = timezone.localdate() + timedelta(days=30)
    day += timedelta(days=-day.weekday())
    asked = {
        "region": "abdomen", "side": "", "aim": "trousers that close", "protocol_note": "",
        "visits_planned": "4", "spacing_days": "14", "planned_start": f"{day.isoformat()}T10:00",
        "minutes": "75", "room": str(room.pk), "device": "", "staff": "",
    }  # fmt: skip
    client.post(f"/courses/{first.code}/add/", asked)
    visits = list(Visit.objects.filter(course__person=first))
    assert [(one.number, one.day - day) for one in visits] == [
        (place + 1, timedelta(days=14 * place)) for place in range(4)
    ]
    assert {timezone.localtime(one.planned_start).hour for one in visits} == {10}
    assert "trousers that close" in client.get(f"/people/{first.code}/").content.decode()

    page = client.post(f"/courses/{second.code}/add/", asked).content.decode()
    assert page.count(f"One is taken then: {first.shown_code}, 10:00 to 11:15.") == 4
    assert not Course.objects.filter(person=second).exists()
    confirm = page.split('name="confirm" value="')[1].split('"')[0]
    later = asked | {"confirm": confirm, "planned_start": f"{day.isoformat()}T10:15"}
    assert "all the same" in client.post(f"/courses/{second.code}/add/", later).content.decode()
    client.post(f"/courses/{second.code}/add/", asked | {"confirm": confirm})
    assert [one.despite for one in Visit.objects.filter(course__person=second)] == ["room"] * 4


def test_later_visits_move_along_each_at_its_own_hour(
    browser: Callable[..., Client], course: Callable[..., Course]
) -> None:
    one = course()
    day = timezone.localdate() + timedelta(days=30)
    day += timedelta(days=-day.weekday())
    weeks = [day + timedelta(days=14 * place) for place in range(4)]
    first, second, third, fourth = put(
        one, *(Slot(at(10 + place, 0, monday), 60) for place, monday in enumerate(weeks))
    )
    cancel_visit(third, "away")
    asked = {
        "planned_start": f"{weeks[1] + timedelta(days=4)}T15:00", "minutes": "60", "room": "", "device": "",
        "staff": "", "also_later": "on",
    }  # fmt: skip
    browser(Role.OPERATOR).post(f"/courses/visit/{second.pk}/move/", asked)
    for visit in (first, second, third, fourth):
        visit.refresh_from_db()
    when = [timezone.localtime(visit.planned_start) for visit in (first, second, third, fourth)]
    assert [(one.date() - day, one.hour) for one in when] == [
        (timedelta(days=0), 10),
        (timedelta(days=18), 15),
        (timedelta(days=28), 12),
        (timedelta(days=46), 13),
    ]


def test_open_courses_without_a_next_visit_stand_first_and_are_told_on_the_first_page(
    browser: Callable[..., Client], course: Callable[..., Course], person: Callable[..., Person]
) -> None:
    client = browser(Role.OPERATOR)
    tomorrow = timezone.now() + timedelta(days=1)
    put(course(person("Yara", "Booked")), Slot(tomorrow, 60))
    assert "no next visit" not in client.get("/").content.decode()
    waiting = course(person("Teodor", "Waiting"))
    end_visit(begin_visit(put(waiting, Slot(timezone.now() - timedelta(days=14), 60))[0]))
    course(person("Bruno", "Gone", active=False))
    course(state="stopped", state_reason="moved away")
    assert "1 open course has no next visit" in client.get("/").content.decode()
    page = client.get("/courses/open/").content.decode()
    assert page.index("Teodor Waiting") < page.index("Yara Booked")
    assert "1 of 6 done" in page
    assert "Gone" not in page
    assert "Ines" not in page


def test_an_hour_that_the_clock_skips_is_refused_by_the_form(
    browser: Callable[..., Client], course: Callable[..., Course]
) -> None:
    asked = {"planned_start": "2031-03-30T01:30", "minutes": "60", "room": "", "device": "", "staff": ""}
    page = browser(Role.OPERATOR).post(f"/courses/course/{course().pk}/visit/", asked).content.decode()
    assert "may not exist" in page
    assert not Visit.objects.exists()


def test_each_state_is_reached_only_from_the_one_before(course: Callable[..., Course]) -> None:
    past = timezone.now() - timedelta(hours=2)
    one, two, three = put(course(), *(Slot(past, 60) for _ in range(3)))
    coming = put(course(), Slot(timezone.now() + timedelta(hours=1), 60))[0]
    begun = begin_visit(one)
    for step in (begin_visit, lambda v: cancel_visit(v, "x"), lambda v: move_visit(v, Slot(past, 60))):
        with pytest.raises(VisitError, match="that is running cannot"):
            step(one)  # read before it began, as another screen would have it
    assert end_visit(begun).state == VisitState.DONE
    with pytest.raises(VisitError, match="that is planned cannot end"):
        end_visit(two)
    with pytest.raises(VisitError, match="Say why"):
        cancel_visit(two, "  ")
    assert cancel_visit(two, " away ").reason == "away"
    assert miss_visit(three, "did not call").state == VisitState.MISSED
    with pytest.raises(VisitError, match="only be missed after its time"):
        miss_visit(coming, "did not come")


def test_the_persons_page_shows_visits_in_order_with_what_is_missing(
    browser: Callable[..., Client], course: Callable[..., Course]
) -> None:
    from evenfield.clinic.screening.consent import present_text
    from evenfield.clinic.screening.recording import keep_answers, keep_consent
    from evenfield.conduct.screening import default_screening

    one, client = course(), browser(Role.OPERATOR)
    now = timezone.now()
    late, soon = put(one, Slot(now + timedelta(days=20), 60), Slot(now, 60))
    page = client.get(f"/people/{one.person.code}/").content.decode()
    assert page.index(f"/courses/visit/{soon.pk}/") < page.index(f"/courses/visit/{late.pk}/")
    assert "4 not booked" in page
    names = ["screening", "consent", "set-up", "plan"]
    of_today, of_later = (part.split("</li>")[0] for part in page.split('class="needs">')[1:3])
    assert [name for name in names if f"{name} <span" in of_today] == names
    assert "not asked today" in of_today
    assert "on the day itself" in of_later

    questions = default_screening()
    keep_answers(one.person, questions, {question.id: question.good.value for question in questions.question})
    keep_consent(one.person, present_text(), name="Somebody", drawing="")
    soon.plan = {"case": 'title = "invented"'}
    soon.save()
    page = client.get(f"/people/{one.person.code}/").content.decode()
    of_today, of_later = (part.split("</li>")[0] for part in page.split('class="needs">')[1:3])
    assert [name for name in names if f"{name} <span" in of_today] == ["set-up"]
    assert [name for name in names if f"{name} <span" in of_later] == ["screening", "set-up", "plan"]


def test_a_visit_of_a_merged_record_shows_what_is_there_of_the_kept_one(
    browser: Callable[..., Client], course: Callable[..., Course], person: Callable[..., Person]
) -> None:
    from evenfield.clinic.screening.consent import present_text
    from evenfield.clinic.screening.recording import keep_consent

    kept, double = person(), person("Ines", "Palander")
    visit = put(course(double), Slot(timezone.now(), 60))[0]
    keep_consent(kept, present_text(), name="Somebody", drawing="")
    merge(kept, double, {})
    page = browser(Role.OPERATOR).get(f"/courses/visit/{visit.pk}/").content.decode()
    assert f"/people/{kept.code}/" in page
    assert ">signed</span>" in page.split("Consent</span>")[1].split("</li>")[0]


def test_everything_is_handed_over_and_erased(course: Callable[..., Course]) -> None:
    one = course(aim="secret hope")
    visit, done = put(one, Slot(at(10), 60), Slot(at(12), 60))
    visit.plan = {"case": "girth"}
    visit.save()
    end_visit(begin_visit(done))
    with zipfile.ZipFile(BytesIO(export_zip(one.person, "Invented"))) as archive:
        held = json.loads(archive.read("courses/record.json"))
    assert held["courses"][0]["aim"] == "secret hope"
    assert held["courses"][0]["visits"][0]["plan"] == {"case": "girth"}
    erase(one.person, EraseReason.ASKED)
    assert rows_unlike_the_trail() == []
    one.refresh_from_db()
    assert (one.aim, [(v.state, v.plan) for v in one.visits.all()]) == ("", [("cancelled", {}), ("done", {})])


def parse(content: bytes) -> list[dict[str, object]]:
    """Events as another reader, vobject, finds them."""
    import vobject  # type: ignore[import-untyped]

    calendar = vobject.readOne(content.decode())
    return [
        {name: value[0].value for name, value in event.contents.items()}
        for event in calendar.contents.get("vevent", [])
    ]


def test_the_file_is_read_by_another_program_and_holds_codes_only(
    browser: Callable[..., Client], course: Callable[..., Course]
) -> None:
    room = TreatmentRoom(name="Räume; 1, oben")
    room.save()
    one = course()
    put(one, Slot(at(10, 0, date(2031, 3, 24)), 75, room), Slot(at(10, 0, date(2031, 3, 31)), 75, room))
    client = browser(Role.OPERATOR)
    before = client.get("/courses/calendar/file/?show=week&day=2031-03-26").content
    after = client.get("/courses/calendar/file/?show=week&day=2031-04-01").content
    for line in before.split(b"\r\n"):
        assert len(line) <= 75  # RFC 5545, 3.1
    assert b"\n" not in before.replace(b"\r\n", b"")
    (event,), (later,) = parse(before), parse(after)
    assert event["dtstart"] == datetime(2031, 3, 24, 10, tzinfo=UTC)  # Lisbon is on UTC in winter
    assert later["dtstart"] == datetime(2031, 3, 31, 9, tzinfo=UTC)
    assert later["dtend"] == datetime(2031, 3, 31, 10, 15, tzinfo=UTC)
    assert (event["summary"], event["location"]) == (one.person.shown_code, room.name)
    assert event["uid"] != later["uid"]
    text = before.decode()
    assert one.person.family_name not in text
    assert "abdomen" not in text
    with acting(Actor("terminal")):
        BookingRules(names_in_calendars=True).save()
    again = parse(client.get("/courses/calendar/file/?show=week&day=2031-03-26").content)[0]
    assert again["summary"] == f"{one.person.full_name} {one.person.shown_code}"
    assert again["uid"] == event["uid"]


def test_a_calendar_program_reads_its_address_until_it_is_ended(
    browser: Callable[..., Client], course: Callable[..., Course]
) -> None:
    client, stranger = browser(Role.OPERATOR), Client()
    holder = client.session["_auth_user_id"]
    tomorrow = timezone.localdate() + timedelta(days=1)
    mine, _ = put(course(), Slot(at(10, 0, tomorrow), 60), Slot(at(12, 0, tomorrow), 60))
    mine.staff_id = int(holder)
    mine.save()

    def made(**asked: str) -> str:
        page = client.post("/courses/calendar/own/", asked).content.decode()
        return page.split("http://testserver")[1].split("<")[0].strip()

    address = made()
    answer = stranger.get(address)
    assert [event["summary"] for event in parse(answer.content)] == [mine.person.shown_code]
    assert AuditEvent.objects.filter(action=Action.EXPORT, actor="operator").count() == 1
    assert stranger.get(address, headers={"If-None-Match": answer["ETag"]}).status_code == 304
    assert AuditEvent.objects.filter(action=Action.EXPORT, actor="operator").count() == 1
    token = address.split("/feed/")[1].removesuffix(".ics")
    assert token not in CalendarAddress.objects.get().digest
    everything = made(whole_clinic="on")
    assert stranger.get(address).status_code == 404
    assert len(parse(stranger.get(everything).content)) == 2
    client.post("/courses/calendar/own/end/")
    assert stranger.get(everything).status_code == 404
    last = made()
    account = CalendarAddress.objects.get().account
    account.is_active = False
    account.save()
    assert stranger.get(last).status_code == 404


def test_the_day_and_the_week_show_what_there_is(
    browser: Callable[..., Client], course: Callable[..., Course]
) -> None:
    room = TreatmentRoom(name="One")
    room.save()
    one, two = course(), course()
    put(one, Slot(at(10), 60, room), Slot(at(9, 0, date(2031, 3, 8)), 60, room))
    put(two, Slot(at(10, 30), 20, room), Slot(at(12), 60))
    client = browser(Role.OPERATOR)
    day = client.get("/courses/calendar/?show=day&day=2031-03-03").content.decode()
    # From nine: 10:00 is the fifth quarter, 10:30 the seventh beside it, 12:00 the thirteenth, roomless.
    places = [part.split('"')[0] for part in day.split("<ol>")[1].split('<li class="')[1:]]
    assert places == ["c1 r5 n4", "c2 r7 n3", "c3 r13 n4"]
    heads = [part.split("<")[0].split(">")[-1] for part in day.split('<p class="head')[1:]]
    assert heads == ["One", "not decided"]
    week = client.get("/courses/calendar/?show=week&day=2031-03-05").content.decode()
    assert week.count('class="entry-of') == 4
    assert week.count("<section") == 6  # Monday to Friday, and the Saturday with a visit
    assert "Week of 3 March 2031" in week
    assert client.get("/courses/calendar/?day=nonsense").status_code == 200
    assert client.get("/courses/calendar/?day=0001-01-01").status_code == 200


def test_the_day_on_which_the_clock_changes_has_its_hours_where_they_are(
    browser: Callable[..., Client], course: Callable[..., Course]
) -> None:
    rules = BookingRules(opens=time(0), closes=time(6), open_days="1234567")
    rules.save()
    put(course(), Slot(at(3, 0, date(2031, 3, 30)), 60))
    day = browser(Role.OPERATOR).get("/courses/calendar/?show=day&day=2031-03-30").content.decode()
    hours = [part.split("</p>")[0] for part in day.split('<p class="hour ')[1:]]
    assert [hour.split(">")[1] for hour in hours] == [
        "00:00", "02:00", "03:00", "04:00", "05:00",
    ]  # fmt: skip
    assert 'class="c1 r9 n4"' in day  # two hours after midnight by the sun, three by the clock


def test_a_page_asks_the_database_as_often_for_many_visits_as_for_few(
    browser: Callable[..., Client],
    course: Callable[..., Course],
    django_assert_max_num_queries: Callable[..., object],
) -> None:
    client, one = browser(Role.OPERATOR), course()
    for place in range(8):
        put(one, Slot(at(9 + place), 60))
    for there in ("/courses/calendar/?show=day&day=2031-03-03", "/courses/calendar/?day=2031-03-03"):
        with django_assert_max_num_queries(14):  # type: ignore[attr-defined]
            client.get(there)
    with django_assert_max_num_queries(26):  # type: ignore[attr-defined]
        client.get(f"/people/{one.person.code}/")
