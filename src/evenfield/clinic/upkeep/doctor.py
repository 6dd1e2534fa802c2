"""Looking the clinic's installation over: versions, disk, clock, database, keys, last backup."""

import os
import platform
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from evenfield.clinic.upkeep.backup import database_file, last_backup

# Our own choices (label A): a backup each week, and room for the database twice over and some photographs.
REMIND_AFTER = timedelta(days=7)
LEAST_FREE_BYTES = 1_000_000_000
CLOCK_SLACK = timedelta(minutes=2)


@dataclass(frozen=True)
class Finding:
    """One thing looked at: its name, whether it is in order, and what was found, in words."""

    name: str
    in_order: bool
    words: str


def look_over(home: Path, now: datetime | None = None) -> list[Finding]:
    """All findings about a data directory for which Django was started. `now` in UTC, for tests."""
    at = now or datetime.now(UTC)
    looks: list[Callable[[], Iterator[Finding]]] = [
        lambda: _versions(),
        lambda: _disk(home),
        lambda: _keys(home),
        lambda: _database(),
        lambda: _clock(at),
        lambda: _questions(),
        lambda: _protocols(),
        lambda: _backup(home, at),
    ]
    return [finding for look in looks for finding in look()]


def backup_words(home: Path, now: datetime) -> tuple[bool, str]:
    """Whether the last good backup is young enough, and a sentence about it."""
    last = last_backup(home)
    if last is None:
        return False, "there is no good backup yet"
    days = (now - last.at).days
    age = "today" if days < 1 else "yesterday" if days == 1 else f"{days} days ago"
    return now - last.at <= REMIND_AFTER, f"the last good backup was made {age}"


def _versions() -> Iterator[Finding]:
    import django

    from evenfield import __version__

    words = (
        f"evenfield {__version__}, Python {platform.python_version()}, Django {django.get_version()}, "
        f"SQLite {sqlite3.sqlite_version}"
    )
    yield Finding("versions", True, words)


def _disk(home: Path) -> Iterator[Finding]:
    free = shutil.disk_usage(home).free
    held = sum(path.stat().st_size for path in home.rglob("*") if path.is_file())
    needed = max(LEAST_FREE_BYTES, 2 * held)
    words = f"{free / 1e9:.1f} GB free, {needed / 1e9:.1f} GB wanted (a backup needs twice what is held)"
    yield Finding("disk space", free >= needed, words)


def _keys(home: Path) -> Iterator[Finding]:
    """The keys, and a database that is a file: what nobody else on this computer should read."""
    database = database_file(home, os.environ.get("DATABASE_URL", ""))
    for path in (home / "secret-key", home / "backup-key", *([database] if database else [])):
        if path.exists() and os.name != "nt":
            mode = path.stat().st_mode & 0o777
            yield Finding(
                path.name, not mode & 0o077, f"readable by {'others too' if mode & 0o077 else 'us alone'}"
            )


def in_present_shape() -> bool:
    """Whether the database has the shape this version works with."""
    return not _missing_steps()


def _missing_steps() -> int:
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    return len(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def _database() -> Iterator[Finding]:
    from django.db import connection

    from evenfield.clinic.audit.triggers import missing_triggers

    waiting = _missing_steps()
    words = f"{waiting} steps to the present shape are missing" if waiting else "in the present shape"
    yield Finding("database shape", not waiting, f"{connection.vendor}, {words}")
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            settings = {}
            for name in ("journal_mode", "synchronous", "quick_check"):
                cursor.execute(f"PRAGMA {name}")
                settings[name] = str(cursor.fetchone()[0]).lower()
        wanted = {"journal_mode": {"delete", "memory"} if _in_memory() else {"delete"}, "synchronous": {"3"}}
        right = all(settings[name] in allowed for name, allowed in wanted.items())
        words = (
            f"journal {settings['journal_mode']}, synchronous {settings['synchronous']} (wanted: delete, 3)"
        )
        yield Finding("database settings", right, words)
        yield Finding("database file", settings["quick_check"] == "ok", settings["quick_check"])
    if not waiting:
        missing = missing_triggers()
        yield Finding("append-only tables", not missing, " ".join(missing) or "their triggers are in place")


def _in_memory() -> bool:
    from django.db import connection

    return "memory" in str(connection.settings_dict["NAME"])


def _clock(now: datetime) -> Iterator[Finding]:
    from django.db import DatabaseError

    from evenfield.clinic.audit.models import AuditEvent

    try:
        last = AuditEvent.objects.order_by("-number").values_list("at", flat=True).first()
    except DatabaseError:
        return
    behind = last is not None and last - now > CLOCK_SLACK
    words = f"{now:%Y-%m-%d %H:%M} UTC"
    if behind:
        words += f", but the trail's last entry is of {last:%Y-%m-%d %H:%M} UTC: the clock is or was wrong"
    yield Finding("clock", not behind, words)


def _questions() -> Iterator[Finding]:
    from evenfield.clinic.screening.questions import own_questions_file, present_questions
    from evenfield.conduct.screening import ScreeningError

    try:
        asked = present_questions()
    except ScreeningError as error:
        yield Finding("screening questions", False, str(error))
        return
    whose = "the clinic's own" if own_questions_file().exists() else "the shipped ones"
    yield Finding("screening questions", True, f"{whose}, version {asked.version}")


def _protocols() -> Iterator[Finding]:
    from evenfield.clinic.measuring.protocols import ProtocolError, own_protocols_file, present_protocols

    try:
        held = present_protocols()
    except ProtocolError as error:
        yield Finding("measuring protocols", False, str(error))
        return
    whose = "the clinic's own" if own_protocols_file().exists() else "the shipped ones"
    yield Finding("measuring protocols", True, f"{whose}, {len(held.protocol)} of them")


def _backup(home: Path, now: datetime) -> Iterator[Finding]:
    young, words = backup_words(home, now)
    last = last_backup(home)
    yield Finding("backup", young, f"{words}{f': {last.file}' if last else ''}")
