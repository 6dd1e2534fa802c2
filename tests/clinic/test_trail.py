"""The trail holds, and shows every edit, removal and reordering made behind the application's back."""

import json
from collections.abc import Callable

import pytest
from django.db import DatabaseError, connection, transaction

from evenfield.clinic.audit import triggers
from evenfield.clinic.audit.actor import Actor, NobodyActingError, acting
from evenfield.clinic.audit.chain import FIRST, canonical
from evenfield.clinic.audit.models import Action, AuditDetail, AuditEvent
from evenfield.clinic.audit.recorded import Recorded
from evenfield.clinic.audit.trail import record, verify_chain
from evenfield.clinic.people.models import Person
from tests.clinic.tampering import behind_the_back

pytestmark = pytest.mark.django_db


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
