"""The same tests again on PostgreSQL, in a server of their own that listens on a socket file only."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import psycopg
import pytest

from bench.own_postgresql import own_postgresql

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def database_url(postgres: Path) -> Iterator[str]:
    """A running server; its process is our own child, ended here."""
    with (
        TemporaryDirectory(prefix="evenfield-postgresql-") as folder,
        own_postgresql(Path(folder), postgres) as url,
    ):
        yield url


@pytest.mark.slow
@pytest.mark.skipif("DATABASE_URL" in os.environ, reason="this whole run is on the database of DATABASE_URL")
def test_the_clinic_on_postgresql(database_url: str) -> None:
    """Every test of this folder that touches the database, but for the slow ones."""
    done = subprocess.run(
        [sys.executable, "-m", "pytest", str(HERE), "-q", "-p", "no:cacheprovider", "-p", "no:xdist",
         "-m", "not browser and not slow", "--deselect", str(Path(__file__))],
        env={**os.environ, "DATABASE_URL": database_url},
        cwd=HERE.parents[1], capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-6000:]
    assert " passed" in done.stdout


def _run(home: Path, url: str, *words: str) -> "subprocess.CompletedProcess[str]":
    """`evenfield` on a database of this server, in a process of its own."""
    environment = {"PATH": os.environ["PATH"], "DATABASE_URL": url, "EVENFIELD_HOME": str(home)}
    return subprocess.run(
        [sys.executable, "-m", "evenfield", *words],
        env=environment, cwd=HERE.parents[1], capture_output=True, text=True, timeout=200, check=False,
    )  # fmt: skip


_MAKE = """
from evenfield.clinic.terminal import migrate, start_django
start_django(demonstration=True)
migrate()
from evenfield.clinic.demonstration import make_demonstration
make_demonstration()
"""


def _rows(url: str) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, in order."""
    with psycopg.connect(url) as connection:
        tables = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        return {
            name: connection.execute(f'SELECT * FROM "{name}" ORDER BY 1').fetchall() for (name,) in tables
        }


@pytest.mark.slow
def test_a_backup_of_postgresql_restored_into_an_empty_database_is_the_same(
    database_url: str, tmp_path: Path
) -> None:
    """Encrypted, read back, put into another database of the server; the trail holds there."""
    first, second = (database_url.replace("/postgres?", f"/{name}?") for name in ("first", "second"))
    with psycopg.connect(database_url, autocommit=True) as connection:
        connection.execute("CREATE DATABASE first")
        connection.execute("CREATE DATABASE second")
    home = tmp_path / "home"
    made = subprocess.run(
        [sys.executable, "-c", _MAKE],
        env={"PATH": os.environ["PATH"], "DATABASE_URL": first, "EVENFIELD_HOME": str(home)},
        capture_output=True, text=True, timeout=200, check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    before = _rows(first)
    assert len(before["people_person"]) == 7
    done = _run(home, first, "backup", "--to", str(tmp_path / "b.age"))
    assert done.returncode == 0, done.stderr
    assert b"Holvat" not in (tmp_path / "b.age").read_bytes()

    wanted = ["restore", str(tmp_path / "b.age"), "--key", str(home / "backup-key")]
    taken = _run(tmp_path / "new", first, *wanted)
    assert taken.returncode == 2
    assert "a backup goes into an empty one only" in taken.stderr
    mixed = _run(tmp_path / "new", "", *wanted)
    assert "is of a PostgreSQL database and DATABASE_URL names SQLite" in mixed.stderr
    assert not (tmp_path / "new").exists()
    done = _run(tmp_path / "new", second, *wanted)
    assert done.returncode == 0, done.stderr
    after = _rows(second)
    for name, rows in before.items():
        extra = 1 if name == "audit_auditevent" else 0  # that it was restored
        assert after[name][: len(rows)] == rows, name
        assert len(after[name]) == len(rows) + extra, name
    assert _run(tmp_path / "new", second, "audit", "verify").returncode == 0


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("mysql://host/name", "DATABASE_URL starts with 'mysql'; allowed are sqlite and postgresql."),
        ("postgresql://host:port/name", "DATABASE_URL cannot be read: Port could not be cast"),
        ("postgresql://", "DATABASE_URL names no database"),
        ("postgresql:///clinic?host=/no-such-socket", "The database of DATABASE_URL cannot be reached"),
    ],
)
def test_a_database_that_cannot_be_had_is_one_sentence(url: str, words: str, tmp_path: Path) -> None:
    done = _run(tmp_path / "home", url, "doctor")
    assert done.returncode == 2
    assert words in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr
