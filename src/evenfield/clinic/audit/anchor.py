"""The anchor file: the end of each chain, noted outside the database and signed with the clinic's key.

A chain alone cannot show that its last rows were cut off, that rows were added to it behind the application,
or that someone computed all of it anew. The anchor can, as long as the one who tampers has the database but
not the data directory's key.

Each row's end is noted as `coming` before its transaction is committed, and as `kept` once it is. So a chain
ends at one of the two whenever the power may have gone, and at no other row.
"""

import hashlib
import hmac
import json
import logging
import os
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings

from evenfield.clinic.home import write_private

if sys.platform != "win32":
    import fcntl

_writing = threading.Lock()
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class ChainEnd:
    """The last row of a chain; number 0 of a chain without rows."""

    number: int
    digest: str


@dataclass(frozen=True)
class Anchor:
    """What is noted of one chain: the end last known to be committed, and the one being written."""

    kept: ChainEnd
    coming: ChainEnd

    def knows(self, end: ChainEnd) -> bool:
        """Whether the chain may end here."""
        return end in (self.kept, self.coming)


class AnchorError(Exception):
    """The anchor file was altered or cannot be read."""


def ahead(table: str, last: ChainEnd, new: ChainEnd, *, own: bool) -> bool:
    """Note a row before its transaction is committed; returns whether the anchor knows the one before it.

    `own`: the row before it was written by the transaction in hand. Where the chain does not end where the
    anchor says, nothing is noted: what was cut off or added behind the application stays to be seen. Nor does
    a file that cannot be read or written keep anyone from working.
    """
    try:
        with _alone():
            noted = _load()
            held = _read(noted, table) if table in noted else None
            if held is None and not last.number:
                held = Anchor(last, last)
            if held is None or not (own or held.knows(last)):
                return False
            noted[table] = _entry(table, Anchor(held.kept if own else last, new))
            _save(noted)
    except (AnchorError, OSError):
        _log.exception("The end of %s was not noted.", table)
        return False
    return True


def write(table: str, number: int, digest: str) -> None:
    """Note a committed end of a chain; an older end never replaces a newer one."""
    end = ChainEnd(number, digest)
    with _alone():
        noted = _load()
        held = _read(noted, table) if table in noted else None
        if held is None or held.kept.number < number:
            coming = held.coming if held and held.coming.number > number else end
            noted[table] = _entry(table, Anchor(end, coming))
            _save(noted)


def read(table: str) -> Anchor | None:
    """What is noted of a chain, None if nothing. Raises AnchorError if the note was altered."""
    noted = _load()
    return _read(noted, table) if table in noted else None


def replace(anchors: Mapping[str, Anchor]) -> None:
    """Begin the file anew with these. For restoring a backup, which is itself recorded."""
    with _alone():
        _save({table: _entry(table, held) for table, held in anchors.items()})


def forget() -> None:
    """Remove the file."""
    with _alone():
        _path().unlink(missing_ok=True)


def _path() -> Path:
    return Path(settings.EVENFIELD_HOME) / "audit-anchor.json"


@contextmanager
def _alone() -> Iterator[None]:
    """No other thread or process writes the file meanwhile."""
    with _writing:
        if sys.platform == "win32":  # no such lock; two processes at one moment are not provided for there
            yield
            return
        folder = os.open(_path().parent, os.O_RDONLY)
        try:
            fcntl.flock(folder, fcntl.LOCK_EX)
            yield
        finally:
            os.close(folder)


def _mark(table: str, end: ChainEnd) -> str:
    words = f"{table} {end.number} {end.digest}"
    return hmac.new(settings.SECRET_KEY.encode(), words.encode(), hashlib.sha256).hexdigest()


def _entry(table: str, held: Anchor) -> dict[str, Any]:
    kept, coming = (
        {"number": end.number, "digest": end.digest, "mark": _mark(table, end)}
        for end in (held.kept, held.coming)
    )
    return kept if held.kept == held.coming else kept | {"coming": coming}


def _read(noted: dict[str, Any], table: str) -> Anchor:
    entry = noted[table]
    try:
        return Anchor(_end(table, entry), _end(table, entry.get("coming", entry)))
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise AnchorError(f"The anchor file {_path()} is damaged at {table}.") from error


def _end(table: str, entry: Mapping[str, Any]) -> ChainEnd:
    end, mark = ChainEnd(int(entry["number"]), str(entry["digest"])), str(entry["mark"])
    if not hmac.compare_digest(mark, _mark(table, end)):
        raise AnchorError(
            f"The anchor file {_path()} was altered at {table}, or belongs to another secret key."
        )
    return end


def _save(noted: dict[str, Any]) -> None:
    write_private(_path(), json.dumps(noted, indent=1, sort_keys=True) + "\n")


def _load() -> dict[str, Any]:
    try:
        content = json.loads(_path().read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except ValueError as error:
        raise AnchorError(f"The anchor file {_path()} is not JSON.") from error
    if not isinstance(content, dict):
        raise AnchorError(f"The anchor file {_path()} is not a table.")
    return content
