"""Rows that are only ever added, each carrying the digest of the one before it.

A class deriving from `ChainedRow` gets, without more, the database triggers that refuse change and removal
(audit/triggers.py), its place in `verify_chain` and a line in the anchor file. Its content must be free of
personal data, or hold only salted digests of it, because erasing must not break the chain.
"""

import hashlib
import json
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any, ClassVar, Self

from django.db import connection, models, transaction
from django.utils import timezone

from evenfield.clinic.audit import anchor

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
            cls._hold_the_end()
            last = cls._default_manager.order_by("-number").values_list("number", "digest").first()
            row = cls(
                number=last[0] + 1 if last else 1,
                at=at or timezone.now(),
                previous=last[1] if last else FIRST,
                **content,
            )
            row.digest = row.computed_digest()
            row.save(force_insert=True)
            table, number, digest = cls._meta.db_table, row.number, row.digest
            transaction.on_commit(lambda: anchor.write(table, number, digest))
        return row

    @classmethod
    def _hold_the_end(cls) -> None:
        # SQLite needs nothing: BEGIN IMMEDIATE lets one writer in at a time. PostgreSQL: a lock until commit.
        if connection.vendor == "postgresql":
            key = int.from_bytes(hashlib.sha256(cls._meta.db_table.encode()).digest()[:8], "big", signed=True)
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [key])

    @classmethod
    def broken_links(cls) -> Iterator[str]:
        """Every place where this chain does not hold, as sentences; nothing if it holds."""
        table = cls._meta.db_table
        expected, before = 1, FIRST
        anchored = anchor.read(table)
        met_anchor = anchored is None
        for row in cls._default_manager.order_by("number").iterator(chunk_size=2000):
            if row.number != expected:
                yield f"{table}: rows {expected} to {row.number - 1} are missing."
            elif row.previous != before:
                yield f"{table}: row {row.number} does not follow row {row.number - 1} (reordered)."
            if row.computed_digest() != row.digest:
                yield f"{table}: row {row.number} was changed after it was written."
            if anchored and row.number == anchored.number:
                met_anchor = True
                if row.digest != anchored.digest:
                    yield f"{table}: row {row.number} is not the one in the anchor file (chain rewritten)."
            expected, before = row.number + 1, row.digest
        if not met_anchor and anchored:
            last = expected - 1
            yield f"{table}: the end is missing: the anchor knows row {anchored.number}, the last is {last}."
