"""A copy of everything in the data directory, taken while the clinic works, encrypted, and read back.

The file is an age file (https://age-encryption.org/v1) around a tar archive: the data directory's files by
their names, the database as `evenfield.sqlite3` (from PostgreSQL: `evenfield.pgdump`, see `postgresql`), and
at the end `evenfield-backup.json` with the SHA-256 of each. Its key lies in the data directory as
`backup-key`; without a copy kept elsewhere no backup can be read once that directory is lost. Writers wait
while the database is copied (on PostgreSQL they need not); packing needs room in the data directory for a
plain copy of everything, which is removed at the end.
"""

import hashlib
import io
import json
import os
import sqlite3
import tarfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO

import pyrage  # type: ignore[import-untyped]

from evenfield import __version__
from evenfield.clinic.database import database_settings
from evenfield.clinic.home import write_private
from evenfield.clinic.upkeep.postgresql import BackupError, dump

DATABASE = "evenfield.sqlite3"
MANIFEST = "evenfield-backup.json"
FORMAT = 1
_KEY = "backup-key"
_LAST = "last-backup.json"
_MEDIA = "files"


@dataclass(frozen=True)
class LastBackup:
    """The last backup that was read back without fault."""

    at: datetime
    file: str
    bytes: int
    sha256: str


class Digesting(io.RawIOBase):
    """Takes what is written, counts and digests it, and passes it on if there is somewhere to."""

    def __init__(self, onward: IO[bytes] | None = None) -> None:
        self.sha256, self.bytes, self._onward = hashlib.sha256(), 0, onward

    def writable(self) -> bool:
        """Always."""
        return True

    def write(self, data: bytes) -> int:  # type: ignore[override]
        """Take these bytes; returns how many."""
        self.sha256.update(data)
        self.bytes += len(data)
        if self._onward:
            self._onward.write(data)
        return len(data)


def database_file(home: Path, url: str = "") -> Path | None:
    """The SQLite database of this data directory; None if the record is on PostgreSQL."""
    settings = database_settings(url, home)
    return Path(settings["NAME"]) if "sqlite3" in settings["ENGINE"] else None


def backup_key(home: Path) -> tuple[Path, bool]:
    """The file with the key of this clinic's backups, and whether it was made just now."""
    path = home / _KEY
    if path.exists():
        return path, False
    write_private(path, f"{pyrage.x25519.Identity.generate()}\n")
    return path, True


def last_backup(home: Path) -> LastBackup | None:
    """What was noted about the last good backup; None if there was none or the note cannot be read."""
    try:
        noted = json.loads((home / _LAST).read_text(encoding="utf-8"))
        return LastBackup(
            datetime.fromisoformat(noted["at"]), str(noted["file"]), int(noted["bytes"]), str(noted["sha256"])
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def back_up(home: Path, to: Path, url: str = "") -> LastBackup:
    """Write an encrypted copy of the data directory and its database, and read it back.

    Args:
        home: the data directory; others may go on working in it.
        to: the file to write, which must not exist, or a directory, in which it is named by the time (UTC).
        url: DATABASE_URL, "" for the database in the data directory.

    Raises:
        BackupError: there is nothing to copy, the place cannot be written, or what was read back differs.
    """
    database = database_file(home, url)
    if database is not None and not database.exists():
        raise BackupError(f"{home} holds no record: {database.name} is not there.")
    now = datetime.now(UTC)
    target = (to / f"evenfield-{now:%Y%m%d-%H%M%S}.age" if to.is_dir() else to).resolve()
    if target.exists():
        raise BackupError(f"{target} is there already; a backup never replaces a file.")
    if not target.parent.is_dir():
        raise BackupError(f"There is no folder {target.parent}; make it first, or name another one.")
    if target.is_relative_to(home.resolve()):
        raise BackupError(f"{target} lies in the data directory itself; choose a place outside it.")
    identity = read_key(backup_key(home)[0])
    draft = target.with_name(f"{target.name}.part")
    try:
        with TemporaryDirectory(prefix=".backup-", dir=home) as room:
            plain = Path(room) / "plain.tar"
            expected = _pack(home, url, plain, Path(room), now)
            descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "wb") as onward, plain.open("rb") as reader:
                written = Digesting(onward)
                pyrage.encrypt_io(reader, written, [identity.to_public()])
                onward.flush()
                os.fsync(onward.fileno())
        _read_back(draft, identity, written, expected)
        draft.replace(target)
    except (OSError, sqlite3.Error, pyrage.EncryptError) as error:
        raise BackupError(f"No backup was made at {target}: {error}.") from error
    finally:
        draft.unlink(missing_ok=True)
    made = LastBackup(now, str(target), written.bytes, written.sha256.hexdigest())
    write_private(home / _LAST, json.dumps(asdict(made) | {"at": now.isoformat()}) + "\n")
    return made


def read_key(path: Path) -> "pyrage.x25519.Identity":
    """The key in this file. Raises BackupError if there is none."""
    try:
        return pyrage.x25519.Identity.from_str(path.read_text(encoding="utf-8").strip())
    except (OSError, UnicodeDecodeError, pyrage.IdentityError) as error:
        raise BackupError(f"{path} holds no key of a backup: {error}.") from error


def check_database(path: Path) -> None:
    """Raises BackupError if SQLite finds the file damaged."""
    try:
        with closing(sqlite3.connect(path)) as connection:
            found = connection.execute("PRAGMA integrity_check").fetchone()[0]
    except sqlite3.Error as error:
        found = str(error)
    if found != "ok":
        raise BackupError(f"The database {path.name} is damaged: {found}.")


def _read_back(draft: Path, identity: "pyrage.x25519.Identity", written: Digesting, expected: str) -> None:
    """Read the file from the disk, decrypt all of it, and compare with what was meant to be in it."""
    stored, plain = hashlib.sha256(), Digesting()
    with draft.open("rb") as reader:
        while piece := reader.read(1 << 20):
            stored.update(piece)
        reader.seek(0)
        try:
            pyrage.decrypt_io(reader, plain, [identity])
        except (pyrage.DecryptError, OSError) as error:
            raise BackupError(f"The backup could not be read back: {error}.") from error
    if stored.digest() != written.sha256.digest() or plain.sha256.hexdigest() != expected:
        raise BackupError("The backup read back differs from what was written.")


def _pack(home: Path, url: str, plain: Path, room: Path, now: datetime) -> str:
    """Write the archive and return its SHA-256.

    The anchor of the trail is taken before the database: an older anchor is met in a newer chain, not the
    other way round. Photographs come last, since rows name only files that are there.
    """
    database = database_file(home, url)
    digests: dict[str, str] = {}
    with plain.open("wb") as file:
        whole = Digesting(file)
        with tarfile.open(fileobj=whole, mode="w|", format=tarfile.PAX_FORMAT) as archive:
            for path in _loose_files(home, database):
                _add(archive, path, path.relative_to(home).as_posix(), digests)
            copy = _copy_sqlite(database, room) if database else dump(database_settings(url, home), room)
            _add(archive, copy, copy.name, digests)
            copy.unlink()
            for path in _media_files(home):
                _add(archive, path, path.relative_to(home).as_posix(), digests)
            manifest = {
                "format": FORMAT,
                "evenfield": __version__,
                "made": now.isoformat(),
                "sha256": digests,
            }
            content = json.dumps(manifest, indent=1, sort_keys=True).encode()
            about = tarfile.TarInfo(MANIFEST)
            about.size = len(content)
            archive.addfile(about, io.BytesIO(content))
    return whole.sha256.hexdigest()


def _copy_sqlite(database: Path, room: Path) -> Path:
    """A sound copy, taken while others may write."""
    copy = room / DATABASE
    with (
        closing(sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro", uri=True)) as source,
        closing(sqlite3.connect(copy)) as target,
    ):
        source.backup(target)
    check_database(copy)
    return copy


def _add(archive: tarfile.TarFile, path: Path, name: str, digests: dict[str, str]) -> None:
    about = tarfile.TarInfo(name)
    with path.open("rb") as file:
        status = os.fstat(file.fileno())
        about.size, about.mtime, about.mode = status.st_size, int(status.st_mtime), 0o600
        digests[name] = hashlib.file_digest(file, "sha256").hexdigest()
        file.seek(0)
        archive.addfile(about, file)


def _loose_files(home: Path, database: Path | None) -> Iterator[Path]:
    own = {(database or home / DATABASE).resolve(), (home / DATABASE).resolve(), (home / _LAST).resolve()}
    passing = (".new", "-journal", "-wal", "-shm")
    for path in sorted(home.iterdir()):
        plain = path.is_file() and not path.is_symlink() and not path.name.endswith(passing)
        if plain and path.resolve() not in own:
            yield path


def _media_files(home: Path) -> Iterator[Path]:
    for path in sorted((home / _MEDIA).rglob("*")):
        if path.is_file() and not path.is_symlink():
            yield path
