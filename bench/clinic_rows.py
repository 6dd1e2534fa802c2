"""Rows in bulk for an invented clinic, under the rules of its tables: gapless chains, digests, salts.

`SealedChain` and `KeptChain` write what `ChainedRow.append` and `KeptRow.keep` would, thousands at a time.
Each compares the first row it writes with the application's own digest of it, so that they cannot part
unseen.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from hashlib import sha256
from typing import Any

from django.apps import apps
from django.db import connection, transaction
from django.db.models import Model

from evenfield.clinic.audit import anchor
from evenfield.clinic.audit.chain import FIRST, ChainedRow
from evenfield.clinic.audit.kept import KeptContent, KeptRow
from evenfield.clinic.audit.models import AuditDetail, AuditEvent

_AT_ONCE = 5000
SECONDS = [f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}" for s in range(86400)]
"""The time of day of every second of a day."""


class BulkTable:
    """Rows waiting for one table, in the order of the model's columns."""

    def __init__(self, model: type[Model]) -> None:
        self.table = model._meta.db_table
        self.columns = [field.column for field in model._meta.concrete_fields]
        self.rows: list[Sequence[Any]] = []
        self.written = 0

    def full(self) -> bool:
        """Whether it is time to write."""
        return len(self.rows) >= _AT_ONCE

    def write(self) -> None:
        """Everything that waits into the table, in the present transaction."""
        if not self.rows:
            return
        names = ", ".join(f'"{name}"' for name in self.columns)
        connection.ensure_connection()
        raw: Any = connection.connection
        if connection.vendor == "postgresql":
            with raw.cursor() as cursor, cursor.copy(f'COPY "{self.table}" ({names}) FROM STDIN') as copy:
                for row in self.rows:
                    copy.write_row(row)
        else:
            marks = ", ".join("?" * len(self.columns))
            raw.executemany(f'INSERT INTO "{self.table}" ({names}) VALUES ({marks})', self.rows)
        self.written += len(self.rows)
        self.rows.clear()


class SealedChain:
    """The end of one chain, and the rows that follow it."""

    def __init__(self, model: type[ChainedRow]) -> None:
        last = model._default_manager.order_by("-number").first()
        self.model = model
        self.number: int = last.number if last else 0
        self.digest: str = last.digest if last else FIRST
        self.bulk = BulkTable(model)
        self._first = self.number + 1

    def check_first(self) -> None:
        """Raises RuntimeError unless the first row written has the digest that the application computes."""
        found = self.model._default_manager.filter(number=self._first).first()
        if found is not None and found.computed_digest() != found.digest:
            raise RuntimeError(f"{self.bulk.table} has another shape than bench/clinic_rows.py writes")

    def note_end(self) -> None:
        """The end of the chain into the anchor file after the commit, as the application does."""
        table, number, digest = self.bulk.table, self.number, self.digest
        transaction.on_commit(lambda: anchor.write(table, number, digest))


class KeptChain(SealedChain):
    """Entries about people, their contents beside them, and a line of the trail for each."""

    def __init__(self, model: type[KeptRow], trail: Trail) -> None:
        super().__init__(model)
        content: type[KeptContent] = model.content_model
        self.contents = BulkTable(content)
        self.label = model._meta.label_lower
        self.trail = trail

    def keep(
        self,
        kind: str,
        subject: int,
        text: str,
        day: str,
        second: str,
        who: tuple[int, str],
        visit: tuple[int, str] | None = None,
    ) -> int:
        """One entry; returns its number.

        `text` is the content as canonical JSON, `day` as 2026-11-25, `second` as 09:30:00 (UTC), `who` the
        account and its name, `visit` for an entry of a visit its number and the entry's own id.
        """
        self.number = number = self.number + 1
        salt = f"{number:064x}"
        sealed = sha256(f"{salt}{text}".encode()).hexdigest()
        before, account, name = self.digest, who[0], who[1]
        own = f'"entry_id":"{visit[1]}",' if visit else ""
        about = f',"visit_id":{visit[0]}' if visit else ""
        self.digest = digest = sha256(
            f'{{"actor":"{name}","actor_id":{account},"at":"{day}T{second}.000000+00:00",'
            f'"content_digest":"{sealed}",{own}"kind":"{kind}","number":{number},"previous":"{before}",'
            f'"roles":"operator","subject_id":{subject}{about}}}'.encode()
        ).hexdigest()
        at = f"{day} {second}{self.trail.zone}"
        row = (number, at, before, digest, kind, subject, account, name, "operator", sealed)
        self.bulk.rows.append((*row, *visit) if visit else row)
        self.contents.rows.append((subject, salt, text, number))
        self.trail.line("create", self.label, str(number), subject, kind, day, second, who)
        return number


class Trail(SealedChain):
    """The trail's lines."""

    def __init__(self) -> None:
        super().__init__(AuditEvent)
        self.details = BulkTable(AuditDetail)
        self.zone = "+00" if connection.vendor == "postgresql" else ""

    def line(
        self,
        action: str,
        kind: str,
        key: str,
        subject: int,
        note: str,
        day: str,
        second: str,
        who: tuple[int, str],
        after: str = "",
        fields: str = "",
    ) -> None:
        """One line; `after` is canonical JSON of what was written, for rows whose changes are recorded."""
        self.number = number = self.number + 1
        sealed = ""
        if after:
            salt, text = f"{number:064x}", f'{{"after":{after},"before":{{}}}}'
            sealed = sha256(f"{salt}{text}".encode()).hexdigest()
            self.details.rows.append((number, subject, salt, text))
        before, account, name = self.digest, who[0], who[1]
        self.digest = digest = sha256(
            f'{{"action":"{action}","actor":"{name}","actor_id":{account},"address":"127.0.0.1",'
            f'"at":"{day}T{second}.000000+00:00","detail_digest":"{sealed}","device_id":null,'
            f'"fields":"{fields}","kind":"{kind}","note":"{note}","number":{number},"object_id":"{key}",'
            f'"previous":"{before}","roles":"operator","subject_id":{subject}}}'.encode()
        ).hexdigest()
        self.bulk.rows.append(
            (number, f"{day} {second}{self.zone}", before, digest, action, account, name, "operator",
             "127.0.0.1", None, kind, key, subject, fields, note, sealed)
        )  # fmt: skip


@contextmanager
def without_indexes(tables: Iterable[str]) -> Iterator[list[str]]:
    """Drop the plain indexes of these tables and make them again at the end, which is quicker than keeping
    them in step. Yields the list of what was dropped."""
    dropped: list[str] = []
    with connection.cursor() as cursor:
        for table in tables:
            for name, definition in _indexes(cursor, table):
                cursor.execute(f'DROP INDEX "{name}"')
                dropped.append(definition)
    yield dropped
    for definition in dropped:
        begun = time.monotonic()
        with connection.cursor() as cursor:
            cursor.execute(definition)
        if (took := time.monotonic() - begun) > 5:
            print(f"    {took:.0f} s: {definition}", flush=True)


def _indexes(cursor: Any, table: str) -> list[tuple[str, str]]:
    """Name and definition of every index that no constraint needs."""
    if connection.vendor == "sqlite":
        cursor.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL AND tbl_name = %s"
            " AND sql NOT LIKE 'CREATE UNIQUE%%'",
            [table],
        )
    else:
        cursor.execute(
            "SELECT indexrelid::regclass::text, pg_get_indexdef(indexrelid) FROM pg_index"
            " WHERE indrelid = %s::regclass AND NOT indisunique",
            [table],
        )
    return [(str(name), str(definition)) for name, definition in cursor.fetchall()]


def set_sequences() -> None:
    """PostgreSQL counts on from the highest number in use."""
    if connection.vendor != "postgresql":
        return
    from django.core.management.color import no_style

    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(apps.get_models())):
            cursor.execute(statement)
