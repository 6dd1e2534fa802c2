"""Backup, restore and doctor, on a real data directory with the invented clinic, through the command line."""

import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

import pyrage  # type: ignore[import-untyped]
import pytest
from django.test import Client

from evenfield.clinic.access import Role
from evenfield.clinic.home import write_private
from evenfield.clinic.upkeep.backup import DATABASE, back_up, backup_key, last_backup
from evenfield.clinic.upkeep.doctor import REMIND_AFTER, Finding, backup_words, look_over
from evenfield.clinic.upkeep.postgresql import BackupError
from evenfield.clinic.upkeep.restore import RestoreError, put_back

_MAKE = """
from pathlib import Path
from typing import Any
from evenfield.clinic.terminal import migrate, start_django
start_django(Path({home!r}), demonstration=True)
migrate()
from evenfield.clinic.demonstration import make_demonstration
make_demonstration()
"""
_MIGRATE = """
from pathlib import Path
from evenfield.clinic.terminal import migrate, start_django
start_django(Path({home!r}))
migrate()
"""
_TAKE_IN = """
from functools import partial
from pathlib import Path
from evenfield.clinic.terminal import start_django
start_django(Path({home!r}))
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.exchange.take_people import preview
from evenfield.clinic.exchange.taking_in import take_in
content = b"given_name,family_name,born\\nTove,Invented,1980-05-04\\n"
make = partial(preview, content, month_first=False)
with acting(Actor("terminal")):
    take_in(make, content, seen=make().fingerprint(), looked=True, kind="people.person")
"""
PICTURE = bytes(range(256)) * 700


def run(*words: str) -> "subprocess.CompletedProcess[str]":
    """`evenfield` in a process of its own."""
    call = "import sys; from evenfield.cli import main; sys.exit(main(sys.argv[1:]))"
    environment = {"PATH": "/usr/bin:/bin"}
    return subprocess.run(
        [sys.executable, "-c", call, *words], capture_output=True, text=True, env=environment, check=False
    )


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data directory of the invented clinic, with a picture."""
    place = tmp_path_factory.mktemp("clinic") / "home"
    made = [sys.executable, "-c", _MAKE.format(home=str(place))]
    subprocess.run(made, check=True, env={"PATH": "/usr/bin:/bin"}, capture_output=True)
    (place / "files" / "pictures").mkdir(parents=True)
    (place / "files" / "pictures" / "one.png").write_bytes(PICTURE)
    return place


@pytest.fixture(scope="module")
def backup(home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A backup of it."""
    target = tmp_path_factory.mktemp("backups") / "good.age"
    assert back_up(home, target).file == str(target)
    return target


def rows(database: Path) -> dict[str, list[tuple[object, ...]]]:
    """Shape and every row of every table, in order."""
    with closing(sqlite3.connect(database)) as connection:
        connection.text_factory = bytes
        shape = connection.execute(
            "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY 1, 2"
        ).fetchall()
        found: dict[str, list[tuple[object, ...]]] = {"shape": shape}
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
            table = name.decode()
            found[table] = connection.execute(f'SELECT rowid, * FROM "{table}" ORDER BY rowid').fetchall()
    return found


def files(home: Path) -> dict[str, bytes]:
    """Every file but the database and the note of the last backup."""
    return {
        str(path.relative_to(home)): path.read_bytes()
        for path in home.rglob("*")
        if path.is_file() and path.name not in {"evenfield.sqlite3", "last-backup.json"}
    }


@pytest.mark.slow
def test_what_is_restored_is_what_was_there_byte_for_byte(home: Path, backup: Path, tmp_path: Path) -> None:
    before, there = rows(home / DATABASE), files(home)
    assert len(before["people_person"]) == 7
    assert before["screening_screeningentry"]
    put_back(backup, backup_key(home)[0], tmp_path / "new")
    assert rows(tmp_path / "new" / "evenfield.sqlite3") == before
    assert files(tmp_path / "new") == there
    assert there["files/pictures/one.png"] == PICTURE
    assert {"secret-key", "backup-key", "audit-anchor.json"} <= set(there)
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o700
    assert (tmp_path / "new" / "secret-key").stat().st_mode & 0o777 == 0o600
    assert (tmp_path / "new" / "evenfield.sqlite3").stat().st_mode & 0o077 == 0


def test_it_is_taken_while_someone_writes_and_holds_nothing_uncommitted(home: Path, tmp_path: Path) -> None:
    before = rows(home / DATABASE)
    with closing(sqlite3.connect(home / DATABASE, isolation_level=None)) as writer:
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("UPDATE people_person SET note = 'half done'")
        back_up(home, tmp_path / "b.age")
        writer.execute("ROLLBACK")
    put_back(tmp_path / "b.age", backup_key(home)[0], tmp_path / "new")
    assert rows(tmp_path / "new" / "evenfield.sqlite3") == before


@pytest.mark.parametrize("share", [0.0, 0.0005, 0.5, 0.999999])
def test_a_flipped_byte_is_refused(home: Path, backup: Path, tmp_path: Path, share: float) -> None:
    damaged = bytearray(backup.read_bytes())
    damaged[int(share * len(damaged))] ^= 1
    (tmp_path / "bad.age").write_bytes(damaged)
    with pytest.raises(RestoreError, match="damaged or was made with another key"):
        put_back(tmp_path / "bad.age", backup_key(home)[0], tmp_path / "new")
    assert {path.name for path in tmp_path.iterdir()} == {"bad.age"}


@pytest.mark.parametrize("lost", [1, 65_552, 100_000])
def test_a_backup_cut_short_is_refused(home: Path, backup: Path, tmp_path: Path, lost: int) -> None:
    (tmp_path / "short.age").write_bytes(backup.read_bytes()[:-lost])
    with pytest.raises(RestoreError):
        put_back(tmp_path / "short.age", backup_key(home)[0], tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_another_key_and_a_place_in_use_are_refused(home: Path, backup: Path, tmp_path: Path) -> None:
    write_private(tmp_path / "other-key", f"{pyrage.x25519.Identity.generate()}\n")
    with pytest.raises(RestoreError, match="another key"):
        put_back(backup, tmp_path / "other-key", tmp_path / "new")
    (tmp_path / "no-key").write_text("nothing", encoding="utf-8")
    with pytest.raises(BackupError, match="holds no key"):
        put_back(backup, tmp_path / "no-key", tmp_path / "new")
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "file").touch()
    with pytest.raises(RestoreError, match="not empty"):
        put_back(backup, backup_key(home)[0], tmp_path / "used")
    (tmp_path / "empty").mkdir()
    put_back(backup, backup_key(home)[0], tmp_path / "empty")
    assert (tmp_path / "empty" / "evenfield.sqlite3").exists()


def test_the_backup_shows_nothing_in_plain(backup: Path) -> None:
    content = backup.read_bytes()
    assert content.startswith(b"age-encryption.org/v1\n")
    for word in (b"SQLite format 3", b"Mendelow", PICTURE[:64]):
        assert word not in content


def test_where_no_backup_can_be_written_nothing_is_left(home: Path, tmp_path: Path) -> None:
    (tmp_path / "there.age").write_bytes(b"kept")
    with pytest.raises(BackupError, match="never replaces"):
        back_up(home, tmp_path / "there.age")
    with pytest.raises(BackupError, match="in the data directory itself"):
        back_up(home, home / "inside.age")
    with pytest.raises(
        BackupError, match=r"There is no folder .*such; make it first, or name another one\.$"
    ):
        back_up(home, tmp_path / "no" / "such" / "folder.age")
    with pytest.raises(BackupError, match="holds no record"):
        back_up(tmp_path, tmp_path / "b.age")
    with pytest.raises(
        BackupError, match=r"PostgreSQL's pg_dump failed: .*no-such-socket.*\.$|not installed here"
    ):
        back_up(home, tmp_path / "b.age", "postgresql:///clinic?host=/no-such-socket")
    assert not (tmp_path / "b.age").exists()
    assert (tmp_path / "there.age").read_bytes() == b"kept"
    assert not [path for path in home.iterdir() if path.name.startswith((".backup", "inside"))]


def test_what_cannot_be_read_back_is_no_backup(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk gives back other bytes than were written."""
    noted = last_backup(home)
    write = pyrage.encrypt_io

    def spoil(reader: object, writer: object, recipients: object) -> None:
        write(reader, writer, recipients)
        draft = tmp_path / "b.age.part"
        with draft.open("r+b") as file:
            file.seek(5000)
            file.write(b"spoilt")

    monkeypatch.setattr(pyrage, "encrypt_io", spoil)
    with pytest.raises(BackupError, match="read back"):
        back_up(home, tmp_path / "b.age")
    assert not list(tmp_path.iterdir())
    assert last_backup(home) == noted


def test_a_damaged_database_gives_no_backup(home: Path, backup: Path, tmp_path: Path) -> None:
    put_back(backup, backup_key(home)[0], tmp_path / "new")
    with (tmp_path / "new" / "evenfield.sqlite3").open("r+b") as file:
        file.seek(4096 * 3)
        file.write(b"\xff" * 4096 * 4)
    with pytest.raises(BackupError, match=r"damaged|No backup"):
        back_up(tmp_path / "new", tmp_path / "b.age")


@pytest.mark.slow
def test_through_the_command_line(home: Path, tmp_path: Path) -> None:
    made = run("backup", "--to", str(tmp_path), "--home", str(home))
    assert made.returncode == 0, made.stderr
    assert "read back and found good" in made.stdout
    (file,) = tmp_path.glob("evenfield-*.age")
    again = tmp_path / "again"
    restored = run("restore", str(file), "--key", str(home / "backup-key"), "--home", str(again))
    assert (restored.returncode, restored.stderr) == (0, "")
    verified = run("audit", "verify", "--home", str(again))
    assert verified.returncode == 0, verified.stdout
    with closing(sqlite3.connect(again / "evenfield.sqlite3")) as connection:
        last = connection.execute("SELECT action FROM audit_auditevent ORDER BY number DESC").fetchone()
    assert last == ("restore",)
    refused = run("restore", str(file), "--key", str(home / "backup-key"), "--home", str(again))
    assert refused.returncode == 2
    assert "not empty" in refused.stderr
    told = run("doctor", "--home", str(home)).stdout
    assert "ok    backup: the last good backup was made today" in told
    assert "ok    database settings: journal delete, synchronous 3" in told
    assert "AMISS backup: there is no good backup yet" in run("doctor", "--home", str(again)).stdout


@pytest.mark.slow
def test_people_taken_in_from_a_file_are_verified_backed_up_and_restored(
    home: Path, backup: Path, tmp_path: Path
) -> None:
    place, again = tmp_path / "new", tmp_path / "again"
    put_back(backup, backup_key(home)[0], place)
    take_in = [sys.executable, "-c", _TAKE_IN.format(home=str(place))]
    subprocess.run(take_in, check=True, env={"PATH": "/usr/bin:/bin"}, capture_output=True)
    assert len(rows(place / DATABASE)["people_person"]) == 8
    verified = run("audit", "verify", "--home", str(place))
    assert verified.returncode == 0, verified.stdout
    made = run("backup", "--to", str(tmp_path / "b.age"), "--home", str(place))
    assert made.returncode == 0, made.stderr
    restored = run(
        "restore", str(tmp_path / "b.age"), "--key", str(place / "backup-key"), "--home", str(again)
    )
    assert restored.returncode == 0, restored.stdout


def restored_trail(home: Path, key: Path, tmp_path: Path, name: str) -> tuple[str, str, str]:
    """Back this directory up and restore it: what restoring, and then verifying said, and the last note."""
    again = tmp_path / name
    made = run("backup", "--to", str(tmp_path / f"{name}.age"), "--home", str(home))
    assert made.returncode == 0, made.stderr
    restored = run("restore", str(tmp_path / f"{name}.age"), "--key", str(key), "--home", str(again))
    verified = run("audit", "verify", "--home", str(again))
    with closing(sqlite3.connect(again / "evenfield.sqlite3")) as connection:
        last = connection.execute("SELECT action, note FROM audit_auditevent ORDER BY number DESC").fetchone()
    assert last[0] == "restore"
    return restored.stdout, verified.stdout, last[1]


@pytest.mark.slow
def test_restoring_anchors_the_trail_anew_and_says_what_it_took_over(
    home: Path, backup: Path, tmp_path: Path
) -> None:
    """Rows that came while the backup was taken are taken over and counted; a missing anchor is told."""
    place = tmp_path / "new"
    put_back(backup, key := backup_key(home)[0], place)
    anchor = (place / "audit-anchor.json").read_bytes()
    take_in = [sys.executable, "-c", _TAKE_IN.format(home=str(place))]
    subprocess.run(take_in, check=True, env={"PATH": "/usr/bin:/bin"}, capture_output=True)
    (place / "audit-anchor.json").write_bytes(anchor)
    verified = run("audit", "verify", "--home", str(place))
    assert verified.returncode == 1
    assert "were added behind the application." in verified.stdout
    said, verified_anew, note = restored_trail(place, key, tmp_path, "later")
    assert said.count("\n") == 1
    assert "no problem found" in verified_anew
    assert note.endswith(", 2 rows after its anchor")
    (place / "audit-anchor.json").unlink()
    said, verified_anew, note = restored_trail(place, key, tmp_path, "none")
    assert "audit_auditevent: the anchor file knows nothing of it" in said
    assert "no problem found" in verified_anew
    assert "after its anchor" not in note


def test_the_age_of_the_last_backup(home: Path, backup: Path) -> None:
    last = last_backup(home)
    assert last
    assert backup_words(home, last.at + timedelta(hours=2)) == (True, "the last good backup was made today")
    assert backup_words(home, last.at + REMIND_AFTER)[0]
    late = last.at + REMIND_AFTER + timedelta(seconds=1)
    assert backup_words(home, late) == (False, "the last good backup was made 7 days ago")


def test_the_owner_is_reminded_and_nobody_else(browser: Callable[..., Client]) -> None:
    assert "there is no good backup yet" in browser(Role.OWNER).get("/").content.decode()
    assert "no good backup" not in browser(Role.LEAD).get("/").content.decode()


def test_the_doctor_finds_a_wrong_clock_and_an_open_key(
    tmp_path: Path, person: Callable[..., object]
) -> None:
    person()
    (tmp_path / "secret-key").write_text("x", encoding="utf-8")
    (tmp_path / "secret-key").chmod(0o644)

    def amiss(now: datetime) -> set[str]:
        found: list[Finding] = look_over(tmp_path, now)
        return {one.name for one in found if not one.in_order} - {"disk space"}

    assert amiss(datetime.now(UTC)) == {"secret-key", "backup"}
    assert amiss(datetime.now(UTC) - timedelta(days=400)) == {"secret-key", "backup", "clock"}
    (tmp_path / "secret-key").chmod(0o600)
    assert amiss(datetime.now(UTC)) == {"backup"}


@pytest.mark.slow
def test_nobody_else_may_read_the_database_and_the_doctor_says_if_they_may(
    tmp_path: Path, db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As made under the usual mask, and one that an earlier version made, at its next start."""
    monkeypatch.delenv("DATABASE_URL", raising=False)
    start = [sys.executable, "-c", _MIGRATE.format(home=str(tmp_path / "home"))]
    database = tmp_path / "home" / DATABASE
    for mode in (None, 0o644):
        if mode:
            database.chmod(mode)
            assert DATABASE in {one.name for one in look_over(tmp_path / "home") if not one.in_order}
        subprocess.run(start, check=True, env={"PATH": "/usr/bin:/bin"}, capture_output=True, umask=0o022)
        assert database.stat().st_mode & 0o777 == 0o600
        assert DATABASE in {one.name for one in look_over(tmp_path / "home") if one.in_order}


def test_the_doctor_reads_the_clinics_own_measuring_protocols(
    tmp_path: Path, db: None, settings: Any
) -> None:
    settings.EVENFIELD_HOME = tmp_path

    def protocols() -> Finding:
        return next(one for one in look_over(tmp_path) if one.name == "measuring protocols")

    assert protocols().words.startswith("the shipped ones, ")
    shipped = resources.files("evenfield.clinic.measuring") / "data" / "protocols.toml"
    own = tmp_path / "measuring.toml"
    own.write_text(shipped.read_text(encoding="utf-8"), encoding="utf-8")
    assert protocols().in_order
    assert protocols().words.startswith("the clinic's own, ")
    own.write_text("[[protocol]\n", encoding="utf-8")
    assert not protocols().in_order
    assert protocols().words.startswith("protocols measuring.toml: not TOML: ")
