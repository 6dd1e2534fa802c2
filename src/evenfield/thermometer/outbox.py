"""Readings on their way to the server, written to disk before anything else is said about them.

A reading leaves only with the server's answer: kept, it is removed; refused, it stays with the reason until a
person has it forgotten. The same id put in twice is one reading here as it is there.
"""

import json
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_TABLE = """create table if not exists reading (
    place integer primary key autoincrement, server text not null, visit integer not null, id text not null,
    content text not null, refused text not null default '', unique (server, visit, id))"""


class OutboxError(Exception):
    """The file cannot be used; the message is one clear sentence."""


@dataclass(frozen=True)
class WaitingReading:
    """One reading as it is sent, and why the server refused it ("" while it waits)."""

    id: str
    content: dict[str, Any]
    refused: str = ""

    @property
    def words(self) -> str:
        """For a line on the terminal."""
        return f"{self.content['celsius']:.1f} °C, {self.content['zone']}"


class Outbox:
    """The readings of one visit at one server, in a file that several processes may share."""

    def __init__(self, file: Path, server: str, visit: int) -> None:
        self._key = server, visit
        try:
            file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            file.touch(mode=0o600)
            self._base = sqlite3.connect(file, timeout=10.0, isolation_level=None)
            self._base.execute("pragma synchronous = extra")
            self._base.execute(_TABLE)
        except (OSError, sqlite3.Error) as error:
            raise OutboxError(f"Readings cannot be kept in {file}: {error}.") from error

    def put(self, id: str, content: dict[str, Any]) -> None:
        """Keep a reading to be sent; on return it is on disk. One refused before is tried again."""
        self._base.execute(
            "insert into reading (server, visit, id, content) values (?, ?, ?, ?) on conflict do update "
            "set content = excluded.content, refused = '' where refused != ''",
            (*self._key, id, json.dumps(content)),
        )

    def waiting(self, most: int = 50) -> list[WaitingReading]:
        """Those to be sent next, oldest first."""
        return self._read("refused = ''", most)

    def refused(self) -> list[WaitingReading]:
        """Those the server refused, with its reason."""
        return self._read("refused != ''", -1)

    def settle(self, id: str, refused: str = "") -> None:
        """The server has answered: kept, or refused for this reason."""
        which = "where server = ? and visit = ? and id = ?"
        if refused:
            self._base.execute(f"update reading set refused = ? {which}", (refused, *self._key, id))
        else:
            self._base.execute(f"delete from reading {which}", (*self._key, id))

    def forget_refused(self) -> None:
        """Remove what was refused, after a person has seen it."""
        self._base.execute("delete from reading where server = ? and visit = ? and refused != ''", self._key)

    def close(self) -> None:
        """Let go of the file."""
        self._base.close()

    def _read(self, which: str, most: int) -> list[WaitingReading]:
        call = f"select id, content, refused from reading where server = ? and visit = ? and {which}"
        with closing(self._base.execute(f"{call} order by place limit ?", (*self._key, most))) as rows:
            return [WaitingReading(id, json.loads(content), refused) for id, content, refused in rows]
