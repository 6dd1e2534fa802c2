"""Putting a backup into an empty place: all of it, or nothing."""

import hashlib
import json
import os
import shutil
import tarfile
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import IO, Any

import pyrage  # type: ignore[import-untyped]

from evenfield.clinic.database import database_settings
from evenfield.clinic.home import HomeError
from evenfield.clinic.upkeep.backup import DATABASE, FORMAT, MANIFEST, check_database, read_key
from evenfield.clinic.upkeep.postgresql import DUMP, load


class RestoreError(HomeError):
    """The backup was not restored, and the place is as it was; the message is one clear sentence."""


def put_back(file: Path, key: Path, home: Path, url: str = "") -> str:
    """Decrypt a backup, check every file in it, and make it the data directory.

    Args:
        file: the backup.
        key: the file with its key, `backup-key` of the clinic that made it.
        home: the new data directory; it must not exist or be empty.
        url: DATABASE_URL, "" for SQLite in the data directory; a PostgreSQL database must be empty.

    Returns:
        When the backup was made (ISO 8601, UTC).

    Raises:
        RestoreError: the place is not empty, the key is another one, the backup is damaged or of another
            kind of database.
        BackupError: there is no key in `key`, or the database in the backup is damaged or cannot be put in.
    """
    place = home.expanduser().resolve()
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise RestoreError(f"{place} is not empty; a backup is restored into an empty place only.")
    identity = read_key(key)
    place.parent.mkdir(parents=True, exist_ok=True)
    try:
        with TemporaryDirectory(prefix=".evenfield-restore-", dir=place.parent) as room:
            plain, draft = Path(room) / "plain.tar", Path(room) / "home"
            draft.mkdir(mode=0o700)
            _decrypt(file, plain, identity)
            made = _unpack(plain, draft)
            plain.unlink()
            _put_database(draft, place, url)
            if place.exists():
                place.rmdir()
            draft.replace(place)
    except OSError as error:
        raise RestoreError(f"{file} was not restored: {error.strerror or error}.") from error
    return made


def _put_database(draft: Path, place: Path, url: str) -> None:
    """Check the database of the backup; if it is of PostgreSQL, put it into the one named by the URL."""
    settings = database_settings(url, place)
    on_postgresql = "postgresql" in settings["ENGINE"]
    dumped = draft / DUMP
    if dumped.exists() is not on_postgresql:
        held, named = ("PostgreSQL", "SQLite") if dumped.exists() else ("SQLite", "PostgreSQL")
        raise RestoreError(f"The backup is of a {held} database and DATABASE_URL names {named}; change it.")
    if on_postgresql:
        load(settings, dumped)
        dumped.unlink()
    else:
        check_database(draft / DATABASE)


def _decrypt(file: Path, plain: Path, identity: "pyrage.x25519.Identity") -> None:
    with file.open("rb") as reader, plain.open("wb") as writer:
        os.chmod(plain, 0o600)
        try:
            pyrage.decrypt_io(reader, writer, [identity])
        except (pyrage.DecryptError, OSError, ValueError) as error:
            raise RestoreError(f"{file} is damaged or was made with another key: {error}.") from error


def _unpack(plain: Path, draft: Path) -> str:
    digests: dict[str, str] = {}
    manifest: dict[str, Any] = {}
    try:
        with tarfile.open(plain, "r") as archive:
            for member in archive:
                content = archive.extractfile(member)
                if content is None:
                    raise RestoreError(f"The backup holds {member.name!r}, which is not a file.")
                if member.name == MANIFEST:
                    manifest = json.load(content)
                else:
                    digests[member.name] = _write(content, _within(draft, member.name))
    except (tarfile.TarError, ValueError) as error:
        raise RestoreError(f"The backup cannot be unpacked: {error}.") from error
    if manifest.get("format") != FORMAT:
        raise RestoreError(
            f"The backup has the format {manifest.get('format')}; this version reads {FORMAT}."
        )
    if manifest["sha256"] != digests or not {DATABASE, DUMP} & set(digests):
        raise RestoreError("The files in the backup are not those it lists.")
    return str(manifest["made"])


def _within(draft: Path, name: str) -> Path:
    parts = PurePosixPath(name).parts
    if not parts or name.startswith("/") or ".." in parts:
        raise RestoreError(f"The backup holds {name!r}, which would lie outside the data directory.")
    return draft.joinpath(*parts)


def _write(content: IO[bytes], path: Path) -> str:
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w+b") as file:
        shutil.copyfileobj(content, file, 1 << 20)
        file.flush()
        os.fsync(file.fileno())
        file.seek(0)
        return hashlib.file_digest(file, "sha256").hexdigest()
