"""Rows that are only ever added, each carrying the digest of the one before it.

A class deriving from `ChainedRow` gets, without more, the database triggers that refuse change and removal
(audit/triggers.py), its place in `verify_chain` and a line in the anchor file. Its content must be free of
personal data, or hold only salted digests of it, because erasing must not break the chain.
"""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, ClassVar, Self

from django.db import connection, models, transaction
from django.utils import timezone

from evenfield.clinic.audit import anchor
from evenfield.clinic.audit.anchor import Anchor, ChainEnd

FIRST = "0" * 64


def canonical(value: Any) -> str:
    """One text for one value: JSON without blanks, keys in order, times in UTC with microseconds."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), default=_plain)


def _plain(value: Any) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    return str(value)


class ChainedRow(models.Model):
    """One link: a gapless number, a time, the digest before and its own."""

    append_only: ClassVar[str] = "never"  # when a row may be removed, see audit/triggers.py

    number = models.BigIntegerField(primary_key=True)
    at = models.DateTimeField()
    previous = models.CharField(max_length=64)
    digest = models.CharField(max_length=64)

    class Meta:
        abstract = True

    def computed_digest(self) -> str:
        """SHA-256 over the row's own content and the digest before it."""
        content = {
            field.attname: getattr(self, field.attname)
            for field in self._meta.concrete_fields
            if field.attname != "digest"
        }
        return hashlib.sha256(canonical(content).encode()).hexdigest()

    @classmethod
    def append(cls, *, at: datetime | None = None, **content: Any) -> Self:
        """Add one row at the end of the chain, in the caller's transaction or one of its own.

        `at` is its time, now if None: only the demonstration gives another (`audit.invented`).
        """
        with transaction.atomic():
            last = cls.held_end()
            row = cls(number=last.number + 1, at=at or timezone.now(), previous=last.digest, **content)
            row.digest = row.computed_digest()
            row.save(force_insert=True)
            table, end = cls._meta.db_table, ChainEnd(row.number, row.digest)
            if anchor.ahead(table, last, end, own=_Committed.waiting(table) == last):
                transaction.on_commit(_Committed(table, end), robust=True)
        return row

    @classmethod
    def held_end(cls) -> ChainEnd:
        """The end of the chain, at which nobody else writes until the transaction in hand is over."""
        # SQLite needs nothing: BEGIN IMMEDIATE lets one writer in at a time. PostgreSQL: a lock until commit.
        if connection.vendor == "postgresql":
            key = int.from_bytes(hashlib.sha256(cls._meta.db_table.encode()).digest()[:8], "big", signed=True)
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [key])
        last = cls._default_manager.order_by("-number").values_list("number", "digest").first()
        return ChainEnd(*last) if last else ChainEnd(0, FIRST)

    @classmethod
    def end_and_anchor(cls) -> tuple[ChainEnd, Anchor | None]:
        """Where the chain ends and where the anchor says so, at one moment. Raises AnchorError."""
        table = cls._meta.db_table
        with transaction.atomic():
            end, anchored, own = cls.held_end(), anchor.read(table), _Committed.waiting(table)
        return end, Anchor(anchored.kept, own) if anchored and own else anchored

    @classmethod
    def broken_links(cls) -> Iterator[str]:
        """Every place where this chain does not hold, as sentences; nothing if it holds."""
        table = cls._meta.db_table
        expected, before = 1, FIRST
        end, anchored = cls.end_and_anchor()
        kept = anchored.kept if anchored else end
        for row in cls._default_manager.order_by("number").iterator(chunk_size=2000):
            if row.number != expected:
                yield f"{table}: rows {expected} to {row.number - 1} are missing."
            elif row.previous != before:
                yield f"{table}: row {row.number} does not follow row {row.number - 1} (reordered)."
            if row.computed_digest() != row.digest:
                yield f"{table}: row {row.number} was changed after it was written."
            if row.number == kept.number and row.digest != kept.digest:
                yield f"{table}: row {row.number} is not the one in the anchor file (chain rewritten)."
            expected, before = row.number + 1, row.digest
        if end.number < kept.number:
            known = f"the anchor knows row {kept.number}, the last is {end.number}"
            yield f"{table}: the end is missing: {known}."
        elif anchored is None and end.number:
            yield f"{table}: the anchor file knows nothing of it, though it has {end.number} rows."
        elif end.number > kept.number and not (anchored and anchored.knows(end)):
            yield f"{table}: rows {kept.number + 1} to {end.number} were added behind the application."


@dataclass(frozen=True)
class _Committed:
    """Waits for the commit, and then notes the end of a chain as kept."""

    table: str
    end: ChainEnd

    def __call__(self) -> None:
        anchor.write(self.table, self.end.number, self.end.digest)

    @classmethod
    def waiting(cls, table: str) -> ChainEnd | None:
        """The end that the transaction in hand gave this chain, None if it wrote nothing there.

        What was undone to a savepoint waits no longer.
        """
        calls = (entry[1] for entry in reversed(connection.run_on_commit))
        return next((call.end for call in calls if isinstance(call, cls) and call.table == table), None)
