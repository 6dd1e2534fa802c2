"""What the trail tells of is compared with what stands in the database: rows, entries, secrets."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.actor import Actor
from evenfield.clinic.audit.compared import rows_unlike_the_trail, verify_record
from evenfield.clinic.audit.models import AuditDetail
from evenfield.clinic.audit.recorded import unrecorded
from evenfield.clinic.audit.trail import verify_chain
from evenfield.clinic.courses.models import Visit
from evenfield.clinic.devices.models import Device
from evenfield.clinic.people.leaving import EraseReason, erase
from evenfield.clinic.people.merging import merge
from evenfield.clinic.people.models import Person
from evenfield.clinic.visits.models import VisitEntry
from tests.clinic.tampering import behind_the_back

pytestmark = pytest.mark.django_db


def test_secrets_never_enter_the_trail(account: Callable[..., object]) -> None:
    made = account("owner")
    for detail in AuditDetail.objects.all():
        assert made.password not in detail.content  # type: ignore[attr-defined]
        assert made.pin not in detail.content  # type: ignore[attr-defined]
    assert "(not shown)" in AuditDetail.objects.get().content


def test_rows_that_the_application_changed_are_as_the_trail_says(
    terminal: Actor, person: Callable[..., Person]
) -> None:
    """Changed, merged, removed, erased, with whole and broken numbers, an empty date, secrets."""
    one, twin, gone = person(), person(given="Ynes"), person(given="Gone")
    one.note, one.born = "taller now", None
    one.save()
    Person.objects.get(pk=one.pk).save()
    merge(one, twin, {})
    erase(gone, EraseReason.ASKED)
    device = Device(name="A", manual="m", power_most_w=200, gap_least_mm=7.5)
    device.save()
    Device(name="B").save()
    Device.objects.get(name="B").delete()
    assert rows_unlike_the_trail() == []
    assert verify_record().holds


def test_a_row_changed_added_or_removed_behind_the_trail_is_found(
    terminal: Actor, person: Callable[..., Person]
) -> None:
    """The chains hold: nobody touched the trail itself."""
    one, device, other = person(), Device(name="A", power_most_w=200), Device(name="B")
    device.save()
    other.save()
    with connection.cursor() as cursor:
        cursor.execute("UPDATE people_person SET born = '1971-01-01' WHERE id = %s", [one.pk])
        cursor.execute("UPDATE devices_device SET power_most_w = 900 WHERE id = %s", [device.pk])
        cursor.execute("DELETE FROM devices_device WHERE id = %s", [other.pk])
    unrecorded(Person).bulk_create([Person(given_name="Slipped", family_name="In", code="ZZZZZZ")])
    slipped = Person.objects.get(code="ZZZZZZ")
    assert sorted(rows_unlike_the_trail()) == [
        f"devices_device: power_most_w of row {device.pk} is not what the trail last recorded.",
        f"devices_device: row {other.pk} was removed behind the trail.",
        f"people_person: born of row {one.pk} is not what the trail last recorded.",
        f"people_person: row {slipped.pk} was added behind the trail.",
    ]
    assert verify_chain().holds
    assert not verify_record().holds


def test_entries_about_people_that_were_cut_off_or_added_are_found_without_their_anchor(
    begun: Visit,
) -> None:
    """The trail tells of each of them. The line of the trail is `audit_auditevent`'s own to protect."""
    VisitEntry.of(begun, "note", "e1", {"words": "x"})
    assert verify_record().problems == ()
    last = VisitEntry.objects.latest("number")
    for table in ("visits_visitcontent", "visits_visitentry"):
        column = "number" if table.endswith("entry") else "row_id"
        behind_the_back(f"DELETE FROM {table} WHERE {column} = %s", last.number, tables=(table,))
    assert f"visits_visitentry: entry {last.number} was removed behind the trail." in rows_unlike_the_trail()
    person = begun.course.person_id
    content: dict[str, Any] = {"kind": "note", "subject_id": person, "actor": "x", "content_digest": "0"}
    for name in ("e1", "e2"):
        VisitEntry.append(**content, visit_id=begun.pk, entry_id=name)
    assert rows_unlike_the_trail() == [
        f"visits_visitentry: entry {last.number + 1} was added behind the trail."
    ]


def test_the_row_of_someone_erased_must_be_blank(terminal: Actor, person: Callable[..., Person]) -> None:
    gone = person(given="Gone", note="once")
    erase(gone, EraseReason.ASKED)
    assert rows_unlike_the_trail() == []
    unrecorded(Person).filter(pk=gone.pk).update(family_name="Back", note="again")
    assert rows_unlike_the_trail() == [
        f"people_person: family_name of row {gone.pk} is not blank, though the person was erased.",
        f"people_person: note of row {gone.pk} is not blank, though the person was erased.",
    ]


@pytest.mark.parametrize("field", ["password", "pin", "totp_secret"])
def test_a_secret_exchanged_behind_the_trail_is_found(
    field: str, account: Callable[..., Account], terminal: Actor
) -> None:
    """The hash of someone else's password in the place of one's own: both are hashes the application made."""
    one, other = account("owner"), account("operator", totp_secret="OTHERSECRET")
    one.set_password("another one of seven words")
    one.save()
    assert rows_unlike_the_trail() == []
    unrecorded(Account).filter(pk=one.pk).update(**{field: getattr(other, field)})
    assert rows_unlike_the_trail() == [
        f"accounts_account: {field} of row {one.pk} is not what the trail last recorded."
    ]


def test_entries_of_before_secrets_had_a_digest_are_passed_over(
    account: Callable[..., Account], terminal: Actor, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(Account, "instead_of", lambda *_: "(not shown)")
        one = account("owner")
    unrecorded(Account).filter(pk=one.pk).update(pin="x")
    assert rows_unlike_the_trail() == []


def test_equal_secrets_do_not_show_as_equal_in_the_trail(account: Callable[..., Account]) -> None:
    one, other = account("owner"), account("operator")
    unrecorded(Account).filter(pk=other.pk).update(password=one.password)
    marks = {Account.objects.get(pk=key.pk).instead_of("password", one.password) for key in (one, other)}
    assert len(marks) == 2
    assert one.instead_of("pin", one.password) not in marks


def test_many_changed_rows_are_not_told_one_by_one(terminal: Actor) -> None:
    unrecorded(Device).bulk_create([Device(name=f"Device {place}") for place in range(25)])
    told = rows_unlike_the_trail()
    assert len(told) == 21
    assert told[-1] == "devices_device: 5 more like these."
