"""The anchor file: the end of each chain, noted outside the database and signed with the clinic's key.

A chain alone cannot show that its last rows were cut off, or that someone computed all of it anew. The anchor
can, as long as the one who tampers has the database but not the data directory's key.
"""

import hashlib
import hmac
import json
import threading
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings

from evenfield.clinic.home import write_private

_writing = threading.Lock()


@dataclass(frozen=True)
class Anchor:
    """The end of one chain as last noted."""

    number: int
    digest: str


class AnchorError(Exception):
    """The anchor file was altered or cannot be read."""


def _path() -> Path:
    return Path(settings.EVENFIELD_HOME) / "audit-anchor.json"


def _mark(table: str, number: int, digest: str) -> str:
    return hmac.new(
        settings.SECRET_KEY.encode(), f"{table} {number} {digest}".encode(), hashlib.sha256
    ).hexdigest()


def write(table: str, number: int, digest: str) -> None:
    """Note the end of a chain; an older end never replaces a newer one."""
    with _writing:
        noted = _load()
        if int(noted.get(table, {}).get("number", 0)) >= number:
            return
        noted[table] = {"number": number, "digest": digest, "mark": _mark(table, number, digest)}
        write_private(_path(), json.dumps(noted, indent=1, sort_keys=True) + "\n")


def read(table: str) -> Anchor | None:
    """The noted end of a chain, None if never noted. Raises AnchorError if the note was altered."""
    entry = _load().get(table)
    if entry is None:
        return None
    try:
        number, digest, mark = int(entry["number"]), str(entry["digest"]), str(entry["mark"])
    except (KeyError, TypeError, ValueError) as error:
        raise AnchorError(f"The anchor file {_path()} is damaged at {table}.") from error
    if not hmac.compare_digest(mark, _mark(table, number, digest)):
        raise AnchorError(
            f"The anchor file {_path()} was altered at {table}, or belongs to another secret key."
        )
    return Anchor(number, digest)


def forget() -> None:
    """Remove the file; the next event starts a new one. For restoring a backup, which is itself recorded."""
    with _writing:
        _path().unlink(missing_ok=True)


def _load() -> dict[str, dict[str, str | int]]:
    try:
        content = json.loads(_path().read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except ValueError as error:
        raise AnchorError(f"The anchor file {_path()} is not JSON.") from error
    if not isinstance(content, dict):
        raise AnchorError(f"The anchor file {_path()} is not a table.")
    return content
