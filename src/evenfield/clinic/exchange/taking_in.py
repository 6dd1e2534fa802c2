"""Rows of a file looked over before anything is written, and then all of them written, or none.

A remark either stops the row, and with it the whole file, or asks: then whoever takes the file in must say
that they have looked. What is written is worked out anew from the file at the end; if anything has changed
since it was looked over (someone entered the same person meanwhile), it is shown again instead.
"""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time

from django.db import transaction
from django.utils import timezone

from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.exchange.csv_text import Table
from evenfield.clinic.people.dates import read_date


@dataclass(frozen=True)
class Remark:
    """One thing about a row: a sentence, and whether the row cannot be taken in so."""

    words: str
    stops: bool = True


@dataclass
class FileRow:
    """One row of the file: its line, what it says in a few words, and every remark."""

    line: int
    cells: dict[str, str]
    remarks: list[Remark] = field(default_factory=list)

    @property
    def stops(self) -> list[str]:
        """What must be put right in the file."""
        return [remark.words for remark in self.remarks if remark.stops]

    @property
    def asks(self) -> list[str]:
        """What must be looked at."""
        return [remark.words for remark in self.remarks if not remark.stops]

    def stop(self, words: str) -> None:
        """This row cannot be taken in."""
        self.remarks.append(Remark(words))

    def ask(self, words: str) -> None:
        """This row must be looked at."""
        self.remarks.append(Remark(words, stops=False))


@dataclass
class Preview:
    """A file as it was looked over.

    Attributes:
        table: the file as read.
        rows: every row of it.
        about_file: questions about the whole.
        outcome: what taking it in would do, in words.
        write: takes it all in; called inside a transaction.
    """

    table: Table
    rows: list[FileRow]
    about_file: list[str]
    outcome: str
    write: Callable[[], None]

    @property
    def stopped(self) -> int:
        """How many rows cannot be taken in."""
        return sum(bool(row.stops) for row in self.rows)

    @property
    def asked(self) -> int:
        """How many rows must be looked at."""
        return sum(bool(row.asks) for row in self.rows)

    @property
    def questions(self) -> int:
        """How many questions there are in all."""
        return len(self.about_file) + self.asked

    def fingerprint(self) -> str:
        """The same only if every row, every remark and the outcome are the same."""
        said = [self.outcome, *self.about_file]
        for row in self.rows:
            said += [str(row.line), *(f"{name}={cell}" for name, cell in row.cells.items())]
            said += [f"{remark.stops} {remark.words}" for remark in row.remarks]
        return hashlib.sha256("\x1f".join(said).encode()).hexdigest()


class TakeInError(Exception):
    """Nothing was taken in; one sentence says why."""


def take_in(make: Callable[[], Preview], content: bytes, *, seen: str, looked: bool, kind: str) -> Preview:
    """Look the file over once more and write all of it. Raises TakeInError, and then nothing was written."""
    with transaction.atomic():
        preview = make()
        if preview.fingerprint() != seen:
            raise TakeInError("Something has changed since the file was looked over: look again.")
        if preview.stopped:
            raise TakeInError("Some rows cannot be taken in; put them right in the file.")
        if preview.questions and not looked:
            raise TakeInError("Say that you have looked at the rows in question.")
        preview.write()
        digest = hashlib.sha256(content).hexdigest()
        note = f"{preview.outcome} taken in from a file, SHA-256 {digest}"
        trail.record(Action.TAKE_IN, kind=kind, note=note[:200])
    return preview


def uneven_rows(table: Table, rows: list[FileRow]) -> None:
    """Mark rows whose cells do not fit the header: usually a decimal comma or a separator inside a text."""
    for row in rows:
        cells = table.uneven.get(row.line)
        if cells is not None:
            row.stop(
                f"It has {cells} cells and the header more or fewer: a comma inside a number or a text needs "
                "quotation marks."
            )


def about_file(table: Table) -> list[str]:
    """Questions about the file as such."""
    found = []
    if not table.sure_of_encoding:
        found.append(
            "Its encoding is not stated and it is not UTF-8; it was read as Windows-1252: check accents."
        )
    if table.ignored:
        found.append(f"Columns that are not known here are left out: {', '.join(table.ignored)}.")
    return found


def read_day(text: str, *, month_first: bool) -> date | None:
    """A date as people write it; None if it is none."""
    return read_date(text, month_first=month_first)


def read_moment(text: str, *, month_first: bool) -> datetime | None:
    """A time, or noon at the clinic if only the day is given; without an offset it is the clinic's clock."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is not None and len(text) > len("2024-05-17"):
        return timezone.make_aware(found) if timezone.is_naive(found) else found
    words = text.replace("T", " ").split()
    day = read_day(words[0], month_first=month_first) if 1 <= len(words) <= 2 else None
    if day is None:
        return None
    try:
        hour = time.fromisoformat(words[1].zfill(5)) if len(words) == 2 else time(12)
    except ValueError:
        return None
    return timezone.make_aware(datetime.combine(day, hour))
