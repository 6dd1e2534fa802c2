"""The trail holds, and shows every edit, removal and reordering made behind the application's back."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import DatabaseError, connection, transaction

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit import anchor, triggers
from evenfield.clinic.audit.actor import Actor, NobodyActingError, acting
from evenfield.clinic.audit.chain import FIRST, canonical
from evenfield.clinic.audit.compared import rows_unlike_the_trail, verify_record
from evenfield.clinic.audit.models import Action, AuditDetail, AuditEvent
from evenfield.clinic.audit.recorded import Recorded, unrecorded
from evenfield.clinic.audit.trail import record, verify_chain
from evenfield.clinic.courses.models import Visit
from evenfield.clinic.devices.models import Device
from evenfield.clinic.people.leaving import EraseReason, erase
from evenfield.clinic.people.merging import merge
from evenfield.clinic.people.models import Person
from evenfield.clinic.visits.models import VisitEntry

pytestmark = pytest.mark.django_db


def behind_the_back(
    statement: str,
    *values: str | int | datetime | None,
    tables: tuple[str, ...] = ("audit_auditevent", "audit_auditdetail"),
) -> None:
    """Change the database as someone would who first takes the triggers away, and puts them back after."""
    on_postgresql = connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        if on_postgresql:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table in tables:
            for name in triggers._names(table):
                cursor.execute(f"DROP TRIGGER {name}" + (f" ON {table}" if on_postgresql else ""))
        cursor.execute(statement, list(values))
    triggers.set_triggers()


@pytest.fixture
def five(terminal: Actor) -> list[AuditEvent]:
    """Five entries with content, by someone at the terminal."""
    return [
        record(
            Action.UPDATE,
            kind="people.person",
            object_id=n,
            subject_id=n,
            before={"note": "a"},
            after={"note": "b"},
        )
        for n in range(1, 6)
    ]


def test_a_chain_nobody_touched_holds(five: list[AuditEvent]) -> None:
    found = verify_chain()
    assert found.holds, found.problems
    assert found.rows == 5
    assert [event.number for event in five] == [1, 2, 3, 4, 5]
    assert five[0].previous == FIRST
    assert [event.previous for event in five[1:]] == [event.digest for event in five[:-1]]


def test_an_entry_says_who_when_from_where_before_and_after(person: Callable[..., Person]) -> None:
    someone = person(note="first")
    with acting(Actor("levan", 7, "operator", "192.0.2.9", 3)):
        someone.note = "second"
        someone.save()
    event = AuditEvent.objects.order_by("-number")[0]
    assert (event.actor_id, event.actor, event.roles, event.address, event.device_id) == (
        7,
        "levan",
        "operator",
        "192.0.2.9",
        3,
    )
    assert (event.action, event.kind, event.object_id, event.fields) == (
        "update",
        "people.person",
        str(someone.pk),
        "note",
    )
    assert json.loads(event.detail.content) == {"before": {"note": "first"}, "after": {"note": "second"}}
    assert event.at.utcoffset() is not None


def test_saving_without_a_change_writes_nothing(person: Callable[..., Person], terminal: Actor) -> None:
    someone = Person.objects.get(pk=person().pk)
    before = AuditEvent.objects.count()
    someone.save()
    assert AuditEvent.objects.count() == before


def test_nobody_changes_anything_unnamed(db: None) -> None:
    with pytest.raises(NobodyActingError):
        Person(given_name="No", family_name="Body").save()
    assert not Person.objects.exists()


@pytest.mark.parametrize("how", ["update", "delete", "bulk_create", "bulk_update"])
def test_changes_of_many_rows_at_once_would_bypass_the_trail_and_are_refused(how: str, db: None) -> None:
    with pytest.raises(TypeError, match="recorded"):
        getattr(Person.objects.all(), how)()


def test_every_recorded_model_keeps_its_refusing_manager() -> None:
    from django.apps import apps

    models = [model for model in apps.get_models() if issubclass(model, Recorded)]
    assert {model.__name__ for model in models} >= {"Account", "Person", "Clinic"}
    for model in models:
        with pytest.raises(TypeError, match="recorded"):
            model._default_manager.all().update(pk=1)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE audit_auditevent SET note = 'x' WHERE number = 3",
        "DELETE FROM audit_auditevent WHERE number = 5",
        "UPDATE audit_auditdetail SET content = 'x' WHERE event_id = 3",
        "DELETE FROM audit_auditdetail WHERE event_id = 3",
    ],
)
def test_the_database_itself_refuses(five: list[AuditEvent], statement: str) -> None:
    with (
        pytest.raises(DatabaseError, match="append-only"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)
    assert verify_chain().holds


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE audit_auditevent SET actor = 'someone else' WHERE number = 3", "row 3 was changed"),
        (
            "UPDATE audit_auditevent SET at = '2020-01-01 00:00:00+00:00' WHERE number = 2",
            "row 2 was changed",
        ),
        ("UPDATE audit_auditevent SET number = 99 WHERE number = 5", "rows 5 to 98 are missing"),
        ("UPDATE audit_auditdetail SET content = '{}' WHERE event_id = 4", "content of entry 4 was changed"),
        (
            "UPDATE audit_auditdetail SET subject_id = 77 WHERE event_id = 4",
            "entry 4 was given another subject",
        ),
        ("DELETE FROM audit_auditdetail WHERE event_id = 2", "entry 2 was removed without an erasure"),
    ],
)
def test_an_edit_behind_the_back_is_found(five: list[AuditEvent], statement: str, said: str) -> None:
    if "number = 99" in statement:  # the content's foreign key would be in the way
        behind_the_back("DELETE FROM audit_auditdetail WHERE event_id = 5")
    behind_the_back(statement)
    assert any(said in problem for problem in verify_chain().problems), verify_chain().problems


def test_a_removed_entry_is_found(five: list[AuditEvent]) -> None:
    behind_the_back("DELETE FROM audit_auditdetail WHERE event_id = 3")
    behind_the_back("DELETE FROM audit_auditevent WHERE number = 3")
    assert any("rows 3 to 3 are missing" in problem for problem in verify_chain().problems)


def test_two_entries_exchanged_are_found(five: list[AuditEvent]) -> None:
    """Everything but the number changes places, digests included."""
    behind_the_back("DELETE FROM audit_auditdetail")
    swap = {2: five[2], 3: five[1]}
    for number, other in swap.items():
        behind_the_back(
            "UPDATE audit_auditevent SET at = %s, object_id = %s, subject_id = %s, detail_digest = %s,"
            " previous = %s, digest = %s WHERE number = %s",
            other.at,
            other.object_id,
            other.subject_id,
            other.detail_digest,
            other.previous,
            other.digest,
            number,
        )
    problems = verify_chain().problems
    assert any("row 2 does not follow row 1" in problem for problem in problems)
    assert any("row 3 does not follow row 2" in problem for problem in problems)


def test_a_removed_end_is_found_by_the_anchor(
    terminal: Actor, django_capture_on_commit_callbacks: Callable[..., object]
) -> None:
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[attr-defined]
        for number in range(4):
            record(Action.READ, object_id=number)
    assert verify_chain().holds
    behind_the_back("DELETE FROM audit_auditevent WHERE number = 4")
    assert list(verify_chain().problems) == [
        "audit_auditevent: the end is missing: the anchor knows row 4, the last is 3."
    ]


def test_a_chain_computed_anew_after_an_edit_is_found_by_the_anchor(
    terminal: Actor, django_capture_on_commit_callbacks: Callable[..., object]
) -> None:
    """Someone who knows the program changes row 2 and makes all digests fit again; only the anchor tells."""
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[attr-defined]
        for number in range(4):
            record(Action.READ, object_id=number)
    behind_the_back("UPDATE audit_auditevent SET object_id = '9' WHERE number = 2")
    previous = FIRST
    for event in AuditEvent.objects.order_by("number"):
        event.previous = previous
        previous = event.computed_digest()
        behind_the_back(
            "UPDATE audit_auditevent SET previous = %s, digest = %s WHERE number = %s",
            event.previous,
            previous,
            event.number,
        )
    assert verify_chain().problems == (
        "audit_auditevent: row 4 is not the one in the anchor file (chain rewritten).",
    )


def test_an_altered_anchor_is_found(
    terminal: Actor, django_capture_on_commit_callbacks: Callable[..., object]
) -> None:
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[attr-defined]
        record(Action.READ)
    path = Path(settings.EVENFIELD_HOME) / "audit-anchor.json"
    assert path.stat().st_mode & 0o777 == 0o600
    noted = json.loads(path.read_text())
    noted["audit_auditevent"]["number"] = 0
    path.write_text(json.dumps(noted))
    assert any("was altered" in problem for problem in verify_chain().problems)


def test_rows_of_which_the_anchor_file_knows_nothing_are_found(five: list[AuditEvent]) -> None:
    """Whoever cuts off an end may remove the file that tells of it."""
    behind_the_back("DELETE FROM audit_auditdetail WHERE event_id = 5")
    behind_the_back("DELETE FROM audit_auditevent WHERE number = 5")
    anchor.forget()
    unknown = "audit_auditevent: the anchor file knows nothing of it, though it has 4 rows."
    assert verify_chain().problems == (unknown,)
    record(Action.READ)
    assert verify_chain().problems == (unknown.replace("4", "5"),)


def test_an_anchor_of_before_it_noted_rows_ahead_is_read(five: list[AuditEvent]) -> None:
    """An entry of the file as first written: number, digest and mark."""
    last = five[-1]
    anchor.forget()
    anchor.write("audit_auditevent", last.number, last.digest)
    noted = json.loads((Path(settings.EVENFIELD_HOME) / "audit-anchor.json").read_text())
    assert set(noted["audit_auditevent"]) == {"number", "digest", "mark"}
    assert verify_chain().holds


def forge(monkeypatch: pytest.MonkeyPatch) -> None:
    """A row computed as the application does, by someone who has the database alone."""
    with monkeypatch.context() as patch, committed():
        patch.setattr(anchor, "ahead", lambda *_, **__: False)
        record(Action.ERASE, kind="people.person", object_id=2, subject_id=2)


@contextmanager
def committed() -> Iterator[None]:
    """As a transaction of its own: undone if broken off, and otherwise what waits for the commit is done."""
    before = len(connection.run_on_commit)
    with transaction.atomic():
        yield
    waiting = connection.run_on_commit[before:]
    del connection.run_on_commit[before:]
    for entry in waiting:
        entry[1]()


def read(times: int = 1) -> None:
    """So many entries in one transaction."""
    with committed():
        for _ in range(times):
            record(Action.READ)


def break_off(times: int) -> None:
    """So many entries that are undone again."""
    with suppress(ZeroDivisionError), committed():
        for _ in range(times):
            record(Action.READ)
        raise ZeroDivisionError


def test_rows_added_behind_the_application_are_found_and_stay_found(
    terminal: Actor, monkeypatch: pytest.MonkeyPatch
) -> None:
    read(2)
    forge(monkeypatch)
    problem = "audit_auditevent: rows 3 to 3 were added behind the application."
    assert verify_chain().problems == (problem,)
    read()
    read(2)
    assert verify_chain().problems == (problem.replace("to 3", "to 6"),)


def test_a_row_forged_in_the_place_of_one_undone_is_found(
    terminal: Actor, monkeypatch: pytest.MonkeyPatch
) -> None:
    read()
    break_off(1)
    forge(monkeypatch)
    assert verify_chain().problems == ("audit_auditevent: rows 2 to 2 were added behind the application.",)


def test_a_crash_between_commit_and_anchor_leaves_nothing_to_find(
    terminal: Actor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many rows the transaction had; the next one goes on from there."""
    read()
    with monkeypatch.context() as patch:
        patch.setattr(anchor, "write", lambda *_: None)
        read(40)
        assert anchored() == (1, 41)
        assert verify_chain().problems == ()
        read()
        assert anchored() == (41, 42)
        assert verify_chain().problems == ()
    break_off(3)
    read()
    assert anchored() == (43, 43)
    assert verify_chain().problems == ()


def anchored() -> tuple[int, int]:
    """Numbers of the end known as committed, and of the one being written."""
    held = anchor.read("audit_auditevent")
    assert held
    return held.kept.number, held.coming.number


def test_what_is_undone_whole_or_in_part_leaves_nothing_to_find(terminal: Actor) -> None:
    break_off(2)
    assert verify_chain().problems == ()
    read()
    break_off(3)
    assert verify_chain().problems == ()
    with committed():
        record(Action.READ)
        with suppress(ZeroDivisionError), transaction.atomic():
            record(Action.READ)
            raise ZeroDivisionError
        record(Action.READ)
        with suppress(ZeroDivisionError), transaction.atomic():
            record(Action.READ)
            record(Action.READ)
            raise ZeroDivisionError
        assert verify_chain().problems == ()  # as the transaction itself sees it
    assert verify_chain().problems == ()
    assert anchored()[0] == 3
    read()
    assert anchored() == (4, 4)
    assert verify_chain().problems == ()


def test_an_anchor_file_that_cannot_be_read_keeps_nobody_from_working(five: list[AuditEvent]) -> None:
    (Path(settings.EVENFIELD_HOME) / "audit-anchor.json").write_text("{")
    record(Action.READ)
    assert AuditEvent.objects.count() == 6
    assert any("is not JSON" in problem for problem in verify_chain().problems)


def test_missing_triggers_are_found_and_put_back_by_migrate(five: list[AuditEvent]) -> None:
    on_postgresql = connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        cursor.execute(
            "DROP TRIGGER audit_auditevent_no_delete" + (" ON audit_auditevent" if on_postgresql else "")
        )
    assert verify_chain().problems == (
        "audit_auditevent: the trigger audit_auditevent_no_delete is missing from the database.",
    )
    triggers.set_triggers()
    assert verify_chain().holds


@pytest.mark.parametrize("name", ["audit_auditevent_no_delete", "visits_visitcontent_no_update"])
def test_a_trigger_that_never_acts_in_the_place_of_one_that_does_is_found(name: str, terminal: Actor) -> None:
    table, moment = name.rsplit("_no_", 1)
    refuse = f"EXECUTE FUNCTION {table}_append_only()"
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(f"DROP TRIGGER {name} ON {table}")
            cursor.execute(
                f"CREATE TRIGGER {name} BEFORE {moment} ON {table} FOR EACH ROW WHEN (false) {refuse}"
            )
        else:
            cursor.execute(f"DROP TRIGGER {name}")
            refuse = f"SELECT RAISE(ABORT, '{table} is append-only')"
            cursor.execute(f"CREATE TRIGGER {name} BEFORE {moment} ON {table} WHEN 0 BEGIN {refuse}; END")
    assert verify_chain().problems == (f"{table}: the trigger {name} is not the one that was set.",)
    triggers.set_triggers()
    assert verify_chain().holds


def test_a_trigger_whose_function_was_emptied_is_found(terminal: Actor) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("only PostgreSQL keeps what a trigger does apart from it")
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE OR REPLACE FUNCTION audit_auditevent_append_only() RETURNS trigger LANGUAGE plpgsql"
            " AS $$ BEGIN RETURN OLD; END $$"
        )
    assert len(verify_chain().problems) == 3
    triggers.set_triggers()
    assert verify_chain().holds


def test_an_erasure_removes_content_and_the_chain_still_holds(five: list[AuditEvent]) -> None:
    from evenfield.clinic.audit.trail import forget_details

    record(Action.ERASE, kind="people.person", object_id=3, subject_id=3)
    assert forget_details(3) == 1
    assert set(AuditDetail.objects.values_list("subject_id", flat=True)) == {1, 2, 4, 5}
    assert verify_chain().holds


def test_content_of_someone_erased_that_was_left_is_found(five: list[AuditEvent]) -> None:
    record(Action.ERASE, kind="people.person", object_id=3, subject_id=3)
    assert any("still holds content of an erased subject" in problem for problem in verify_chain().problems)


def test_the_chain_alone_gives_no_hold_on_erased_content(five: list[AuditEvent]) -> None:
    """The digest of a short text could be guessed; with the salt gone, the guess cannot be tried."""
    import hashlib

    content = canonical({"before": {"note": "a"}, "after": {"note": "b"}})
    assert five[2].detail.content == content
    assert five[2].detail_digest == hashlib.sha256(f"{five[2].detail.salt}{content}".encode()).hexdigest()
    assert five[2].detail_digest != hashlib.sha256(content.encode()).hexdigest()
    assert len({event.detail.salt for event in five}) == 5


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
