"""Adding, merging, switching off, handing over and erasing people."""

import io
import json
import zipfile
from collections.abc import Callable
from datetime import date

import pytest
from django.db import connection
from django.test import Client

from evenfield.clinic.access import Role
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.compared import rows_unlike_the_trail
from evenfield.clinic.audit.models import AuditDetail, AuditEvent
from evenfield.clinic.audit.trail import verify_chain
from evenfield.clinic.people.finding import find_people
from evenfield.clinic.people.leaving import EraseError, EraseReason, erase
from evenfield.clinic.people.merging import MergeError, merge
from evenfield.clinic.people.models import NameTrigram, Person

INES = {"given_name": "Ines", "family_name": "Pallandér", "born": "1988-11-03"}


def test_someone_is_added_and_gets_a_code(browser: Callable[..., Client]) -> None:
    client = browser(Role.OPERATOR)
    answer = client.post("/people/add/", INES)
    someone = Person.objects.get()
    assert answer["Location"] == f"/people/{someone.code}/"
    page = client.get(answer["Location"]).content.decode()
    assert "Ines Pallandér" in page
    assert "3 November 1988" in page


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"born": "2999-01-01"}, "cannot be"),
        ({"born": "1850-01-01"}, "cannot be"),
        ({"given_name": "", "family_name": ""}, "at least one name"),
    ],
)
def test_what_cannot_be_is_refused(
    browser: Callable[..., Client], changed: dict[str, str], said: str
) -> None:
    page = browser(Role.OPERATOR).post("/people/add/", {**INES, **changed})
    assert said in page.content.decode()
    assert not Person.objects.exists()


def test_someone_alike_is_shown_before_a_second_is_added(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    person()
    client = browser(Role.OPERATOR)
    page = client.post("/people/add/", {**INES, "given_name": "Inés"}).content.decode()
    assert "Perhaps already here" in page
    assert Person.objects.count() == 1
    client.post("/people/add/", {**INES, "given_name": "Inés", "really": "yes"})
    assert Person.objects.count() == 2


def test_two_changes_of_one_person_name_the_fields_they_changed(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    someone = person()
    client = browser(Role.OPERATOR)
    client.post(f"/people/{someone.code}/change/", {**INES, "phone": "0100 555 0100"})
    event = AuditEvent.objects.filter(action="update").get()
    assert (event.actor, event.fields, event.subject_id) == ("operator", "phone", someone.pk)
    assert json.loads(event.detail.content) == {"before": {"phone": ""}, "after": {"phone": "0100 555 0100"}}


def test_looking_at_someone_is_recorded(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    """ISO 27789: each time a user reads, with user, subject, function, date and time."""
    someone = person()
    browser(Role.OPERATOR).get(f"/people/{someone.code}/")
    event = AuditEvent.objects.filter(action="read").get()
    assert (event.actor, event.subject_id) == ("operator", someone.pk)


def test_switching_off_and_on_again(browser: Callable[..., Client], person: Callable[..., Person]) -> None:
    someone = person()
    client = browser(Role.LEAD)
    client.post(f"/people/{someone.code}/deactivate/", {"reason": "moved away"})
    assert "moved away" in client.get(f"/people/{someone.code}/").content.decode()
    assert find_people("pallander") == []
    client.post(f"/people/{someone.code}/come-back/")
    assert find_people("pallander")[0].person == someone


def test_merging_keeps_both_and_loses_nothing(person: Callable[..., Person], terminal: Actor) -> None:
    kept, other = person(note="kept"), person("Ynes", "Palander", date(1988, 3, 11), phone="0100 555 0101")
    earlier = person("I.", "Pallander", date(1988, 11, 3))
    merge(other, earlier, {})
    merge(kept, other, {"phone": True})
    kept.refresh_from_db()
    assert (kept.given_name, kept.phone, kept.note, kept.born) == (
        "Ines",
        "0100 555 0101",
        "kept",
        date(1988, 11, 3),
    )
    assert "Ynes Palander" in kept.other_names
    assert {one.pk for one in kept.one_person()} == {kept.pk, other.pk, earlier.pk}
    assert Person.objects.get(pk=other.pk).given_name == "Ynes"
    assert [match.person for match in find_people("ynes palander")] == [kept]
    assert find_people(other.code)[0].person == kept
    assert find_people(earlier.code)[0].person == kept
    assert verify_chain().holds


def test_what_cannot_be_merged(person: Callable[..., Person], terminal: Actor) -> None:
    kept, other, third = person(), person(), person()
    with pytest.raises(MergeError, match="with itself"):
        merge(kept, kept, {})
    merge(kept, other, {})
    with pytest.raises(MergeError, match="before"):
        merge(third, Person.objects.get(pk=other.pk), {})


def test_merging_on_the_screen_shows_both_first(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    kept, other = person(), person("Ynes", "Palander", date(1988, 3, 11))
    client = browser(Role.LEAD)
    assert "Ynes Palander" in client.get(f"/people/{kept.code}/merge/").content.decode()
    page = client.post(f"/people/{kept.code}/merge/", {"code": other.shown_code}).content.decode()
    assert "Both codes will lead to this record" in page
    assert Person.objects.get(pk=other.pk).merged_into is None
    client.post(f"/people/{kept.code}/merge/", {"code": other.code, "really": "yes", "born": "other"})
    assert Person.objects.get(pk=kept.pk).born == date(1988, 3, 11)
    assert client.get(f"/people/{other.code}/")["Location"] == f"/people/{kept.code}/"


def test_the_export_holds_all_records_and_who_looked(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    kept, other = person(note="zürich"), person("Ynes", "Palander", date(1988, 3, 11))
    with acting(Actor("terminal")):
        merge(kept, other, {})
    client = browser(Role.LEAD)
    client.get(f"/people/{kept.code}/")
    answer = client.post(f"/people/{kept.code}/export/")
    assert answer["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert archive.testzip() is None
        held = json.loads(archive.read("people/record.json"))
        looked = json.loads(archive.read("audit/record.json"))
    assert {record["code"] for record in held["records"]} == {kept.code, other.code}
    assert held["records"][0]["note"] == "zürich"
    assert held["records"][0]["born"] == "1988-11-03"
    assert [entry["action"] for entry in looked["trail"]][-1] == "read"
    assert AuditEvent.objects.filter(action="export", subject_id=kept.pk).count() == 1


def test_erasing_leaves_only_that_it_happened(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    """No word of the person is left in any table; the chain holds; others keep theirs."""
    someone = person(
        "Xenobia", "Quarrelsome", date(1961, 5, 17), note="keeps pet axolotls", phone="0100 555 0177"
    )
    other = person("Xenia", "Quarles")
    client = browser(Role.OWNER)
    client.post(
        f"/people/{someone.code}/change/", {**INES, "given_name": "Xenobia", "email": "x@quarrel.example"}
    )
    client.post(f"/people/{someone.code}/erase/", {"reason": "asked", "code": "000000"})
    assert not Person.objects.get(pk=someone.pk).erased
    client.post(f"/people/{someone.code}/erase/", {"reason": "asked", "code": someone.shown_code.lower()})
    assert Person.objects.get(pk=someone.pk).erased
    everything = _all_text()
    for word in ("Xenobia", "Quarrelsome", "axolotls", "0100 555 0177", "1961-05-17", "quarrel.example"):
        assert word not in everything, word
    assert "Quarles" in everything
    assert not NameTrigram.objects.filter(person=someone).exists()
    assert AuditDetail.objects.filter(subject_id=other.pk).exists()
    actions = (
        AuditEvent.objects.filter(subject_id=someone.pk).order_by("number").values_list("action", "note")
    )
    assert list(actions) == [("create", ""), ("update", ""), ("erase", "the person asked for it")]
    assert verify_chain().holds
    assert "was erased on" in client.get(f"/people/{someone.code}/").content.decode()
    assert client.get(f"/people/{someone.code}/change/").status_code == 404


def _all_text() -> str:
    words = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names():
            cursor.execute(f"SELECT * FROM {table}")
            words.append(str(cursor.fetchall()))
    return "\n".join(words)


def test_who_is_kept_for_a_legal_reason_cannot_be_erased(
    person: Callable[..., Person], terminal: Actor
) -> None:
    someone = person(hold_reason="claim pending")
    with pytest.raises(EraseError, match="legal reason"):
        erase(someone, EraseReason.ASKED)
    assert find_people("pallander")


def test_erasing_takes_merged_records_along(person: Callable[..., Person], terminal: Actor) -> None:
    kept, other = person(), person("Ynes", "Palander", date(1988, 3, 11))
    merge(kept, other, {})
    erase(kept, EraseReason.PERIOD)
    assert rows_unlike_the_trail() == []
    assert Person.objects.filter(erased__isnull=False).count() == 2
    assert "Ynes" not in _all_text()
    assert verify_chain().holds
