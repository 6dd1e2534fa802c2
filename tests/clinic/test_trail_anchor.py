"""The anchor file: cut ends, chains computed anew and rows added behind the application are found."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection, transaction

from evenfield.clinic.audit import anchor
from evenfield.clinic.audit.actor import Actor
from evenfield.clinic.audit.chain import FIRST
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.audit.trail import record, verify_chain
from tests.clinic.tampering import behind_the_back

pytestmark = pytest.mark.django_db


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
