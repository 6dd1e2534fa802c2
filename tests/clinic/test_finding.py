"""People are found although names are misspelt, codes misread and dates swapped."""

from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client

from evenfield.clinic.access import Role
from evenfield.clinic.audit.actor import Actor
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.people.codes import LETTERS, near_codes, read_code
from evenfield.clinic.people.dates import near_dates, read_date, take_dates
from evenfield.clinic.people.finding import find_people, likely_same
from evenfield.clinic.people.models import NameTrigram, Person
from evenfield.clinic.people.names import plain, trigrams


def test_trigrams_are_those_of_postgresqls_manual() -> None:
    """PostgreSQL manual, appendix F, pg_trgm: the sets printed for "cat" and for "foo|bar"."""
    assert trigrams("cat") == {"  c", " ca", "cat", "at "}
    assert trigrams("foo|bar") == {"  f", " fo", "foo", "oo ", "  b", " ba", "bar", "ar "}


@pytest.mark.parametrize(
    ("name", "seen"),
    [
        ("Maruška  O'Hólvat-Ñuñez", "maruska o holvat nunez"),
        ("STRAßE Øystein Łukasz", "strasse oystein lukasz"),
        ("Ιωάννα 水野", "ιωαννα 水野"),
        ("İpek", "ipek"),
        ("", ""),
    ],
)
def test_names_are_compared_without_accents_case_and_signs(name: str, seen: str) -> None:
    assert plain(name) == seen


@pytest.fixture
def people(person: Callable[..., Person]) -> dict[str, Person]:
    """Some people with names that are easily mistaken."""
    names = [
        ("Ines", "Pallandér", date(1988, 11, 3)),
        ("Inés", "Palmer", date(1990, 1, 2)),
        ("Maruška", "Holvat", date(1974, 4, 12)),
        ("Mara", "Holt", date(1974, 12, 4)),
        ("Yara", "Mendelow", date(1982, 9, 8)),
        ("水野", "明", date(1979, 2, 28)),
    ]
    return {given: person(given, family, born) for given, family, born in names}


@pytest.mark.parametrize(
    ("asked", "first"),
    [
        ("Ines Pallander", "Ines"),
        ("palander ines", "Ines"),
        ("Pallnader", "Ines"),
        ("palmer", "Inés"),
        ("maruska", "Maruška"),
        ("marushka holvad", "Maruška"),
        ("mendlow", "Yara"),
        ("men", "Yara"),
        ("水野", "水野"),
        ("holt", "Mara"),
        ("1982-09-08", "Yara"),
        ("8.9.1982", "Yara"),
        ("12.4.1974", "Maruška"),
        ("4.12.1974 holt", "Mara"),
        ("holvat 1974-04-13", "Maruška"),
        ("pallander 1951-06-17", "Ines"),
    ],
)
def test_the_one_meant_comes_first(people: dict[str, Person], asked: str, first: str) -> None:
    found = find_people(asked)
    assert found, asked
    assert found[0].person == people[first]


@pytest.mark.parametrize(
    "asked", ["zzyzx", "", "   ", "%", "_", "'; DROP TABLE people_person; --", "1999-01-01"]
)
def test_what_nobody_is_called_finds_nobody(people: dict[str, Person], asked: str) -> None:
    assert find_people(asked) == []


def test_a_code_is_found_with_one_slip_and_says_so(people: dict[str, Person]) -> None:
    ines = people["Ines"]
    assert find_people(f"{ines.code[:3]}-{ines.code[3:]}".lower())[0].person == ines
    wrong = ("0" if ines.code[0] != "0" else "1") + ines.code[1:]
    match = next(match for match in find_people(wrong) if match.person == ines)
    assert match.why == "code differs by one slip"


def test_month_first_where_the_clinic_writes_so() -> None:
    assert read_date("05/03/1980", month_first=False) == date(1980, 3, 5)
    assert read_date("05/03/1980", month_first=True) == date(1980, 5, 3)
    assert read_date("5.3.1980", month_first=True) == date(1980, 3, 5)
    assert read_date("31.2.1980", month_first=False) is None
    assert read_date("1980", month_first=False) is None


@pytest.mark.parametrize(
    "asked",
    [
        "29 February 1984 ines",
        "ines 29 Feb 1984",
        "February 29, 1984 ines",
        "ines 29. feb. 1984",
        "1984-02-29 ines",
    ],
)
def test_a_date_is_found_as_the_pages_write_it_too(asked: str) -> None:
    assert take_dates(asked, month_first=False) == ([date(1984, 2, 29)], "ines")


def test_a_month_that_is_a_name_stays_a_name() -> None:
    assert take_dates("May Junes 31 June 1980", month_first=False) == ([], "May Junes 31 June 1980")


def test_near_dates_and_codes_are_one_slip_away() -> None:
    near = near_dates(date(1980, 3, 12))
    assert {date(1980, 12, 3), date(1980, 3, 21), date(1989, 3, 12), date(1980, 3, 11)} <= near
    assert date(1980, 3, 12) not in near
    assert date(1981, 4, 12) not in near
    codes = near_codes("K7Q2M4")
    assert {"K7Q2M5", "7KQ2M4", "K7Q24M"} <= codes
    assert "K7Q2M4" not in codes
    assert len(codes) == 6 * (len(LETTERS) - 1) + 5


@pytest.mark.parametrize(
    ("text", "code"),
    [("k7q-2m4", "K7Q2M4"), ("K7Q 2M4", "K7Q2M4"), ("OIL-ABC", "011ABC"), ("K7Q2M", None), ("K7Q2MU", None)],
)
def test_codes_are_read_as_people_write_them(text: str, code: str | None) -> None:
    assert read_code(text) == code


def test_the_index_follows_a_changed_name(people: dict[str, Person], terminal: Actor) -> None:
    ines = people["Ines"]
    ines.family_name = "Okkerveen"
    ines.save()
    assert find_people("okkerveen")[0].person == ines
    assert ines not in [match.person for match in find_people("pallander")]
    held = set(NameTrigram.objects.filter(person=ines).values_list("letters", flat=True))
    assert held == trigrams("Ines Okkerveen")


def test_those_who_no_longer_come_are_found_only_when_asked_for(
    people: dict[str, Person], terminal: Actor
) -> None:
    ines = people["Ines"]
    ines.active = False
    ines.save()
    assert ines not in [match.person for match in find_people("pallander")]
    assert find_people("pallander", with_inactive=True)[0].person == ines


def test_someone_entered_twice_is_noticed(people: dict[str, Person], person: Callable[..., Person]) -> None:
    again = person("Ynes", "Palander", date(1988, 3, 11))
    assert [match.person for match in likely_same(again)] == [people["Ines"]]
    other = person("Bruno", "Tessaly", date(1988, 11, 3))
    assert likely_same(other) == []


def test_what_is_sought_never_stands_in_an_address(
    browser: Callable[..., Client], people: dict[str, Person]
) -> None:
    """ASVS 14.2.1; and going back shows the same list again."""
    client = browser(Role.OPERATOR)
    answer = client.post("/people/", {"text": "palander"})
    assert answer["Location"] == "/people/"
    assert "Pallandér" in client.get("/people/").content.decode()
    part = client.post(
        "/people/", {"text": "mendlow"}, headers={"X-Requested-With": "evenfield"}
    ).content.decode()
    assert "Mendelow" in part
    assert "<html" not in part


def test_searching_is_recorded_without_what_was_sought(
    browser: Callable[..., Client], people: dict[str, Person]
) -> None:
    client = browser(Role.OPERATOR)
    client.post("/people/", {"text": "palander"})
    client.get("/people/")
    event = AuditEvent.objects.filter(action=Action.FIND).get()
    assert "found" in event.note
    assert "palander" not in str(vars(event))


def test_a_page_of_results_needs_few_queries(
    browser: Callable[..., Client],
    people: dict[str, Person],
    django_assert_max_num_queries: Callable[..., object],
) -> None:
    client = browser(Role.OPERATOR)
    client.post("/people/", {"text": "a"})
    with django_assert_max_num_queries(16):  # type: ignore[attr-defined]
        assert client.get("/people/").status_code == 200
