"""Measuring: readings that agree, slips named, protocols never mixed, corrections added, values for a case.

Every number here is invented, except where a source is named.
"""

import re
from collections.abc import Callable, Iterator, Mapping

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from evenfield.body import RegionKind
from evenfield.clinic.access import Role
from evenfield.clinic.audit.actor import Actor
from evenfield.clinic.audit.trail import verify_chain
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.measuring.agreement import settle
from evenfield.clinic.measuring.change import MixedProtocolsError, change, courses, error_of, own_error
from evenfield.clinic.measuring.for_planning import values_for_case
from evenfield.clinic.measuring.forms import StartForm
from evenfield.clinic.measuring.history import in_force
from evenfield.clinic.measuring.models import Kind, MeasureContent, MeasureEntry
from evenfield.clinic.measuring.plan import PlanError, read_plan
from evenfield.clinic.measuring.protocols import (
    ProtocolError,
    Protocols,
    Quantity,
    default_protocols,
    own_protocols_file,
    present_protocols,
    read_protocols,
)
from evenfield.clinic.measuring.recording import keep_set, number_content
from evenfield.clinic.measuring.units import CM, INCH, TypedUnit
from evenfield.clinic.measuring.visits import needs
from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.people.leaving import EraseReason, erase
from evenfield.clinic.people.merging import merge
from evenfield.clinic.people.models import Person
from tests.clinic.test_measuring_slips import protocol

Browsers = Callable[..., Client]


People = Callable[..., Person]


ASKED = {"region": "thigh", "side": "left", "girth": "thigh_mid_tape", "levels": "-80,0,80"}


QUERY = "region=thigh&side=left&girth=thigh_mid_tape&levels=-80%2C0%2C80"


OWN_PROTOCOLS = """
version = "own"
title = "Ours"
overruled_by = "Us."
[[protocol]]
id = "w"
version = "1"
name = "Scale"
quantity = "weight"
landmark = "on it"
posture = "still"
instrument = "ours"
agree = 0.2
error = 0.1
error_other = 0.1
error_source = "us"
source = "us"
label = "clinic"
"""


GIRTHS = {"80": "61.2", "0": "57.4", "-80": "49.6"}


@pytest.fixture(autouse=True)
def _clean_home(db: None) -> Iterator[None]:
    yield
    own_protocols_file().unlink(missing_ok=True)


def keep(
    person: Person, typed: Mapping[str, tuple[str, ...]], protocols: Protocols | None = None, **asked: str
) -> MeasureEntry:
    """A set kept without the page; `typed` by the key of the line."""
    plan = read_plan({**ASKED, **asked}, protocols or default_protocols(), "cm")
    values = []
    for line in plan.lines():
        if line.key in typed:
            readings = [line.unit.read(text) for text in typed[line.key]]
            values.append(
                number_content(line, typed[line.key], readings, settle(readings, line.protocol), ())
            )
    token = f"token {MeasureEntry.objects.count()}"
    return keep_set(person, plan, values, token=token)


def three(upper: str, middle: str, lower: str) -> dict[str, tuple[str, ...]]:
    """Two equal readings at three levels."""
    return {"girth_80": (upper, upper), "girth_0": (middle, middle), "girth_-80": (lower, lower)}


def fields(page: str) -> dict[str, str]:
    """The fields of the entry as a browser without scripts would send them."""
    found = {
        name: value
        for name, value in re.findall(r'<input[^>]*?name="([^"]+)" value="([^"]*)"', page)
        if name != "csrfmiddlewaretoken"
    }
    return {name: value for name, value in found.items() if not name.startswith("sure-")}


def both_rounds(typed: Mapping[str, str]) -> dict[str, str]:
    """The same in both rounds."""
    return {f"r{number}-girth_{level}": text for number in (1, 2) for level, text in typed.items()}


def test_from_choosing_to_a_kept_set_through_the_pages(browser: Browsers, person: People) -> None:
    one, client = person(), browser(Role.OPERATOR)
    chosen = {"region": "thigh", "side": "left", "girth": "usual", "levels": "-8; 0; 8", "fat": "none"}
    answer = client.post(f"/measuring/{one.code}/start/", chosen)
    assert answer["Location"] == f"/measuring/{one.code}/enter/?{QUERY}"
    address = answer["Location"]
    page = client.get(address).content.decode()
    assert "halfway between the crease of the groin" in page.lower()
    sent = {**fields(page), **both_rounds({**GIRTHS, "0": "57,4"}), "r2-girth_80": "62.4"}
    page = client.post(address, sent).content.decode()
    assert "The readings lie 1.2 cm apart (limit 0.6 cm): read once more." in page
    assert not MeasureEntry.objects.exists()
    sent = {**fields(page), "r3-girth_80": "61.4"}
    client.post(address, sent)
    client.post(address, sent)  # sent twice, kept once
    row = MeasureEntry.objects.get()
    assert row.kind == Kind.SET
    values = {value["key"]: value for value in row.content["values"]}
    assert values["girth_80"]["readings"] == [0.612, 0.624, 0.614]
    assert (values["girth_80"]["value"], values["girth_80"]["by"]) == (0.614, "median of 3")
    assert values["girth_0"]["typed"] == ["57,4", "57,4"]
    assert row.content["protocols"]["girth"]["landmark"] == protocol("thigh_mid_tape").landmark
    assert row.actor == "operator"
    page = client.get(f"/measuring/{one.code}/kept/{row.number}/").content.decode()
    assert "61.4 cm" in page
    assert "at the landmark" in client.get(f"/measuring/{one.code}/").content.decode()
    assert QUERY.replace("&", "&amp;") in client.get(f"/measuring/{one.code}/start/").content.decode()


def test_a_questioned_reading_is_kept_only_with_a_reason_and_nothing_typed_is_lost(
    browser: Browsers, person: People
) -> None:
    one, client = person(), browser(Role.OPERATOR)
    address = f"/measuring/{one.code}/enter/?{QUERY}"
    page = client.get(address).content.decode()
    page = client.post(
        address, {**fields(page), **both_rounds({**GIRTHS, "0": "24.1"}), "r1-girth_-80": "46.9"}
    ).content.decode()
    assert "Inches typed as centimetres: 61.2 cm?" in page
    sure = {"sure-1-girth_0": "24.1", "sure-2-girth_0": "24.1", "why-1-girth_0": "no"}
    page = client.post(address, {**fields(page), **sure, "r1-girth_-80": "49.5"}).content.decode()
    assert not MeasureEntry.objects.exists()
    why = {"why-1-girth_0": "A very thin leg.", "why-2-girth_0": "A very thin leg."}
    other = {**fields(page), **sure, **why, "r2-girth_0": "24.3"}
    page = client.post(address, other).content.decode()
    assert not MeasureEntry.objects.exists(), "the tick was for 24.1, not for 24.3"
    client.post(address, {**fields(page), **sure, **why, "sure-2-girth_0": "24.3"})
    content = MeasureEntry.objects.get().content
    lower = next(value for value in content["values"] if value["key"] == "girth_0")
    assert [one["reason"] for one in lower["confirmed"]] == ["A very thin leg."] * 2
    assert {"field": "r1-girth_-80", "was": "46.9", "now": "49.5"} in content["amended"]
    assert {"field": "r2-girth_0", "was": "24.1", "now": "24.3"} in content["amended"]


def test_what_was_not_measured_is_kept_as_such_and_a_forged_form_is_refused(
    browser: Browsers, person: People
) -> None:
    one, client = person(), browser(Role.OPERATOR)
    address = f"/measuring/{one.code}/enter/?{QUERY}"
    page = client.get(address).content.decode()
    assert "Nothing has been entered" in client.post(address, fields(page)).content.decode()
    half = {**fields(page), "r1-girth_0": "57.4"}
    assert "Reading 2 is missing" in client.post(address, half).content.decode()
    forged = {**half, "r2-girth_0": "57.4", "state": "forged"}
    assert "open too long or is damaged" in client.post(address, forged).content.decode()
    assert not MeasureEntry.objects.exists()
    client.post(address, {**half, "r2-girth_0": "57.4"})
    row = MeasureEntry.objects.get()
    assert row.content["not_measured"] == ["girth_-80", "girth_80"]
    page = client.get(f"/measuring/{one.code}/kept/{row.number}/").content.decode()
    assert "Not measured: Girth, 8.0 cm above the landmark; Girth, 8.0 cm below" in page
    assert values_for_case(one, RegionKind.THIGH, "left") is None


def test_inches_where_the_clinic_chooses_them(browser: Browsers, person: People, terminal: Actor) -> None:
    Clinic(name="Invented", length_unit="in").save()
    one, client = person(), browser(Role.OPERATOR)
    address = f"/measuring/{one.code}/enter/?{QUERY}"
    page = client.get(address).content.decode()
    assert "3.15 in above the landmark" in page
    client.post(address, {**fields(page), **both_rounds({"80": "24", "0": "22 1/2", "-80": "19.5"})})
    kept = {number.key: number.value for number in in_force(one)}
    assert kept == {"girth_80": 0.6096, "girth_0": 0.5715, "girth_-80": 0.4953}
    form = StartForm(
        {"region": "thigh", "side": "left", "girth": "usual", "fat": "none", "levels": "-3 0 3"},
        protocols=default_protocols(), unit=INCH, length_unit="in",
    )  # fmt: skip
    assert form.is_valid()
    assert form.plan
    assert form.plan.levels_mm == (-76.2, 0.0, 76.2)


@pytest.mark.parametrize(("length_unit", "unit", "furthest"), [("cm", CM, "40 cm"), ("in", INCH, "15.7 in")])
def test_the_furthest_level_is_told_in_the_clinics_unit_and_allowed(
    length_unit: str, unit: TypedUnit, furthest: str
) -> None:
    def levels(far_m: float) -> float:
        asked = {**ASKED, "levels": f"{far_m * 1e3:.1f}"}
        [level_mm] = read_plan(asked, default_protocols(), length_unit).levels_mm
        return level_mm

    with pytest.raises(PlanError, match=f"{furthest} at most"):
        levels(0.41)
    told = unit.read(furthest.split()[0])
    assert levels(told) == pytest.approx(told * 1e3, abs=0.05)


def test_protocols_are_never_mixed_and_the_reason_is_said(
    browser: Browsers, person: People, terminal: Actor
) -> None:
    one = person()
    fat = ("20", "20")
    four = {f"fat_0_{name}": fat for name in ("front", "inner", "back", "outer")}
    keep(one, four, girth="", fat="fat_ultrasound_1450")
    keep(one, {**four, "fat_0_front": ("60", "60")}, girth="", fat="fat_skinfold")
    numbers = {(number.protocol.id, number.key): number for number in in_force(one)}
    earlier = numbers["fat_ultrasound_1450", "fat_0_front"]
    with pytest.raises(MixedProtocolsError, match="measure differently"):
        change(earlier, numbers["fat_skinfold", "fat_0_front"])
    with pytest.raises(MixedProtocolsError, match="different places"):
        change(earlier, numbers["fat_ultrasound_1450", "fat_0_back"])
    assert all(series.change is None for series in courses(in_force(one)))
    page = browser(Role.LEAD).get(f"/measuring/{one.code}/").content.decode()
    assert "their numbers are never mixed" in page


@pytest.mark.parametrize(("version", "words"), [("2", "version 1 to 2"), ("1", "without a new version")])
def test_a_protocol_that_was_changed_starts_anew(
    version: str, words: str, person: People, terminal: Actor
) -> None:
    one = person()
    shipped = default_protocols()
    changed = protocol("thigh_mid_tape").model_copy(update={"posture": "lying", "version": version})
    others = tuple(each for each in shipped.protocol if each.id != changed.id)
    keep(one, three("61.2", "57.4", "49.6"))
    keep(one, three("59.2", "55.4", "47.6"), shipped.model_copy(update={"protocol": (changed, *others)}))
    later, earlier = (number for number in in_force(one) if number.key == "girth_0")
    with pytest.raises(MixedProtocolsError, match=words):
        change(earlier, later)
    reworded = protocol("thigh_mid_tape").model_copy(update={"source": "the clinic", "agree_percent": 2.0})
    assert reworded.key == protocol("thigh_mid_tape").key


def test_a_change_counts_only_beyond_measuring_error(person: People, terminal: Actor) -> None:
    """2.77 times the standard error (1.96·√2; Ulijaszek and Kerr 1999), here 1 % of 57.4 cm."""
    one = person()
    keep(one, three("61.2", "57.4", "49.6"))
    keep(one, three("61.2", "56.0", "47.9"))
    found = {series.last.key: series.change for series in courses(in_force(one))}
    middle, lower = found["girth_0"], found["girth_-80"]
    assert middle
    assert lower
    assert middle.smallest_real == pytest.approx(2.77 * 0.00574, rel=1e-3)
    assert middle.difference == pytest.approx(-0.014)
    assert middle.words == "within measuring error"
    assert lower.words == "less, beyond measuring error"


def test_the_clinics_own_error_counts_once_it_comes_from_twenty_people(
    person: People, terminal: Actor
) -> None:
    """TEM of pairs 1.2 cm apart is 1.2/√2 = 0.849 cm (Ulijaszek and Kerr 1999, TEM = sqrt(Σd²/2n))."""
    thigh = protocol("thigh_mid_tape")
    for number in range(20):
        assert own_error(thigh) is None
        keep(person(f"Invented {number}"), {"girth_0": ("57.0", "58.2")})
    own = own_error(thigh)
    assert own
    assert own.people == 20
    assert own.value == pytest.approx(0.00849, abs=1e-5)
    last = in_force(Person.objects.get(given_name="Invented 19"))[0]
    assert error_of(last, own) == own.value
    assert error_of(last, None) == pytest.approx(0.00576)


def test_corrections_are_added_and_withdrawn_numbers_do_not_count(browser: Browsers, person: People) -> None:
    one, client = person(), browser(Role.OPERATOR)
    address = f"/measuring/{one.code}/enter/?{QUERY}"
    client.post(address, {**fields(client.get(address).content.decode()), **both_rounds(GIRTHS)})
    row = MeasureEntry.objects.get()
    there = f"/measuring/{one.code}/kept/{row.number}/correct/?value=girth_0"
    anew = {"what": "correct", "first": "56.4", "second": "56,6", "reason": "Misread my own note."}
    assert client.post(there, {**anew, "reason": "short"}).status_code == 200
    assert "Decimal place: 56.4 cm?" in client.post(there, {**anew, "first": "5.64"}).content.decode()
    assert MeasureEntry.objects.count() == 1
    client.post(there, anew)
    held = {number.key: number for number in in_force(one)}
    assert (held["girth_0"].value, held["girth_80"].value) == (0.565, 0.612)
    assert row.content == MeasureEntry.objects.get(number=row.number).content
    page = client.get(f"/measuring/{one.code}/kept/{row.number}/").content.decode()
    assert "corrected to 56.4 cm · 56,6 cm" in page
    assert "57.4" in page
    client.post(there, {"what": "withdraw", "reason": "Was another leg altogether."})
    assert "girth_0" not in {number.key for number in in_force(one)}
    assert values_for_case(one, RegionKind.THIGH, "left") is None
    with pytest.raises(DatabaseError), transaction.atomic():
        MeasureContent._default_manager.update(content="{}")


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"region": "abdomen", "side": "left"}, "The abdomen has no side: choose None."),
        ({"region": "thigh", "side": ""}, "Choose the side: left or right."),
    ],
)
def test_a_side_that_a_region_lacks_or_needs_is_told(asked: dict[str, str], words: str) -> None:
    with pytest.raises(PlanError, match=f"^{re.escape(words)}$"):
        read_plan(ASKED | asked, default_protocols(), "cm")


def test_a_correction_asks_for_readings_that_agree_as_the_entry_does(
    browser: Browsers, person: People
) -> None:
    one, client = person(), browser(Role.OPERATOR)
    address = f"/measuring/{one.code}/enter/?{QUERY}"
    client.post(address, {**fields(client.get(address).content.decode()), **both_rounds(GIRTHS)})
    row = MeasureEntry.objects.get()
    there = f"/measuring/{one.code}/kept/{row.number}/correct/?value=girth_0"
    anew = {"what": "correct", "first": "56.0", "reason": "Misread my own note."}
    for more, words in (
        ({}, "asks for 2 readings"),
        ({"second": "58.0"}, "lie 2.0 cm apart"),
        ({"second": "58.0", "sure": "on"}, "give one more"),
        ({"second": "58.0", "third": "60.0"}, "give one more"),
    ):
        assert words in client.post(there, anew | more).content.decode()
    apart = anew | {"second": "58.0", "third": "60.0", "fourth": "62.0"}
    assert MeasureEntry.objects.count() == 1
    page = client.post(there, apart | {"sure": "on"}).content.decode()  # ticked before it was asked
    assert "4 readings do not agree; the median of 4 would be kept so marked" in page
    assert MeasureEntry.objects.count() == 1
    client.post(there, apart | {"sure": "on", "asked_about": fields(page)["asked_about"]})
    held = {number.key: number for number in in_force(one)}["girth_0"]
    assert held.value == pytest.approx(0.59)
    assert MeasureEntry.objects.get(kind="correction").content["value"]["agreed"] is False
    other = there.replace("girth_0", "girth_80")
    client.post(other, anew | {"first": "60.0", "second": "64.0", "third": "60.1"})
    assert {number.key: number.value for number in in_force(one)}["girth_80"] == pytest.approx(0.601)


def test_the_newest_complete_set_becomes_a_case(person: People, terminal: Actor) -> None:
    one = person()
    fat = {f"fat_0_{name}": (str(size), str(size)) for name, size in
           {"front": 18, "inner": 22, "back": 20, "outer": 24}.items()}  # fmt: skip
    keep(one, {**three("61.2", "57.4", "49.6"), **fat}, fat="fat_ultrasound_1540")
    keep(one, {"girth_0": ("50", "50")})
    found = values_for_case(one, RegionKind.THIGH, "left")
    assert found
    assert found.levels_mm == (-80.0, 0.0, 80.0)
    assert found.girth_mm == (496.0, 574.0, 612.0)
    assert found.girth_sem_mm == (4.96, 5.74, 6.12)
    assert found.fat_mm
    assert found.fat_sem_mm
    assert found.fat_mm[0]["inner"] == pytest.approx(22 * 0.9416, abs=0.01)
    assert found.fat_sem_mm[0]["inner"] == pytest.approx(0.54 * 0.9416, abs=0.01)
    assert any("one level and stands for all" in note for note in found.notes)
    assert values_for_case(one, RegionKind.THIGH, "right") is None


def test_merged_and_erased(person: People, terminal: Actor) -> None:
    kept, other = person(), person("Ynes", "Palander")
    keep(other, three("61.2", "57.4", "49.6"))
    merge(kept, other, {})
    assert len(in_force(kept)) == 3
    erase(kept, EraseReason.ASKED)
    assert not MeasureContent.objects.exists()
    assert in_force(kept) == []
    found = verify_chain()
    assert found.holds, found.problems


def test_the_clinics_own_protocols_stand_for_the_shipped_ones(browser: Browsers, person: People) -> None:
    text = OWN_PROTOCOLS
    own_protocols_file().write_text(text, encoding="utf-8")
    assert [one.id for one in present_protocols().protocol] == ["w"]
    client, one = browser(Role.LEAD), person()
    assert "Ours" in client.get("/measuring/protocols/").content.decode()
    own_protocols_file().write_text(text.replace("agree = 0.2", ""), encoding="utf-8")
    answer = client.get(f"/measuring/{one.code}/start/")
    assert answer.status_code == 500
    assert "give one of agree and agree_percent" in answer.content.decode()


@pytest.mark.parametrize(
    ("change_it", "words"),
    [
        (("levels_mm = [-80, 0, 80]", "levels_mm = [80, 0]"), "must ascend"),
        (("factor = 0.9416", "factor = 0.0"), "greater than 0"),
        (("error = 0.54\nerror_other = 0.75", ""), "give error and error_other"),
        (('region = "calf"', ""), "a girth needs its region"),
        (('id = "calf_greatest_tape"', 'id = "thigh_mid_tape"'), "two protocols have one id"),
        (('label = "P"', 'label = "sure"'), "label"),
    ],
)
def test_protocols_that_cannot_be_used_are_refused_in_one_sentence(
    change_it: tuple[str, str], words: str
) -> None:
    from importlib import resources

    text = (resources.files("evenfield.clinic.measuring") / "data" / "protocols.toml").read_text("utf-8")
    assert change_it[0] in text
    with pytest.raises(ProtocolError, match=words):
        read_protocols(text.replace(*change_it), "test")


def test_there_is_a_shipped_protocol_for_every_region_and_quantity() -> None:
    assert {one.region for one in default_protocols().protocol if one.region} == set(RegionKind)
    assert {one.quantity for one in default_protocols().protocol} == set(Quantity)


def test_a_visit_asks_for_the_girths_of_its_region(person: People, terminal: Actor) -> None:
    one = person()
    course = Course(person=one, region="thigh", side="", visits_planned=6, spacing_days=7)
    course.save()
    visit = Visit(course=course, number=1, planned_start=timezone.now(), minutes=60)
    visit.save()
    keep(one, three("61.2", "57.4", "49.6"))
    (need,) = needs([one], [visit])[visit.pk]
    assert (need.met, need.words) == (False, "not measured: right")
    keep(one, three("61.2", "57.4", "49.6"), side="right")
    assert needs([one], [visit])[visit.pk][0].met


def test_a_longer_history_asks_the_database_no_more_often(
    browser: Browsers, person: People, terminal: Actor
) -> None:
    one, client = person(), browser(Role.OPERATOR)
    counts = []
    for sets in (2, 10):
        while MeasureEntry.objects.count() < sets:
            keep(one, three("61.2", "57.4", "49.6"))
        with CaptureQueriesContext(connection) as asked:
            assert client.get(f"/measuring/{one.code}/").status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 25


def test_whoever_reads_a_caliper_types_the_fold_and_is_told_what_is_made_of_it(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    """Half the fold is the fat: halved once more in the head it would be a quarter."""
    one, client = person(), browser(Role.OPERATOR)
    asked = f"/measuring/{one.code}/enter/?region=abdomen&girth=abdomen_navel_tape"
    folded = client.get(f"{asked}&fat=fat_skinfold").content.decode()
    assert "Type what the instrument shows.</em> Kept beside it: half the fold less 2 mm of skin" in folded
    assert "Type what the instrument shows" not in client.get(asked).content.decode()
