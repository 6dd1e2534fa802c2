"""Copying a PostgreSQL database with its own programs, `pg_dump` and `pg_restore`.

They must be installed on this computer (Debian: postgresql-client) and be at least as new as the server. The
password goes to them through the environment, never on the command line, where others could read it.
"""

import os
import shutil
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from evenfield.clinic.home import HomeError

DUMP = "evenfield.pgdump"


class BackupError(HomeError):
    """No good backup was made; the message is one clear sentence, and nothing half-written is left."""


def dump(settings: Mapping[str, Any], room: Path) -> Path:
    """A consistent copy of the database, taken while others may write (`pg_dump --format=custom`).

    Raises BackupError with the last line of what the program said.
    """
    copy = room / DUMP
    _run("pg_dump", settings, "--format=custom", "--no-owner", "--no-privileges", f"--file={copy}")
    check_dump(copy)
    return copy


def check_dump(copy: Path) -> None:
    """Raises BackupError if `pg_restore` cannot read the list of contents."""
    _run("pg_restore", {}, "--list", str(copy))


def load(settings: Mapping[str, Any], copy: Path) -> None:
    """Put a copy into an empty database: all of it in one transaction, or nothing. Raises BackupError."""
    tables = _tables(settings)
    if tables:
        raise BackupError(
            f"The database {settings['NAME']!r} holds {tables} tables; a backup goes into an empty one only."
        )
    _run(
        "pg_restore", settings, "--single-transaction", "--exit-on-error", "--no-owner", "--no-privileges",
        f"--dbname={_connection(settings)}", str(copy),
    )  # fmt: skip


def _tables(settings: Mapping[str, Any]) -> int:
    import psycopg

    try:
        with psycopg.connect(_connection(settings), password=settings["PASSWORD"] or None) as connection:
            found = connection.execute(
                "SELECT count(*) FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace"
                " WHERE n.nspname NOT IN ('pg_catalog', 'information_schema', 'pg_toast') AND c.relkind = 'r'"
            ).fetchone()
    except psycopg.Error as error:
        words = " ".join(str(error).split())
        raise BackupError(f"The database of DATABASE_URL cannot be reached: {words}.") from error
    return int(found[0]) if found else 0


def _connection(settings: Mapping[str, Any]) -> str:
    """How to reach the database, without the password."""
    from psycopg.conninfo import make_conninfo

    said = {"dbname": "NAME", "user": "USER", "host": "HOST", "port": "PORT"}
    given = {name: settings[key] for name, key in said.items() if settings[key]}
    return make_conninfo(**given, **settings["OPTIONS"])


def _run(program: str, settings: Mapping[str, Any], *options: str) -> None:
    found = shutil.which(program)
    if found is None:
        raise BackupError(
            f"The record is on PostgreSQL and {program} is not installed here; it comes with PostgreSQL's "
            "client programs."
        )
    environment = dict(os.environ)
    if settings.get("PASSWORD"):
        environment["PGPASSWORD"] = str(settings["PASSWORD"])
    call = [found, *options]
    if program == "pg_dump":
        call.append(f"--dbname={_connection(settings)}")
    done = subprocess.run(call, capture_output=True, text=True, env=environment, check=False)
    if done.returncode:
        said = done.stderr.strip().splitlines() or [f"{program} ended with {done.returncode}"]
        raise BackupError(f"PostgreSQL's {program} failed: {said[0].removeprefix(f'{program}: ')}.")
