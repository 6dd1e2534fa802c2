"""The same tests again on PostgreSQL, in a server of their own that listens on a socket file only."""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

HERE = Path(__file__).parent
# PostgreSQL refuses to run as root.
USER, GROUP = ("nobody", "nogroup") if os.geteuid() == 0 else (None, None)


@pytest.fixture(scope="module")
def database_url(postgres: Path) -> Iterator[str]:
    """A running server; its process is our own child, ended here."""
    with TemporaryDirectory(prefix="evenfield-postgresql-") as folder:
        place = Path(folder)
        if USER:
            shutil.chown(place, USER, GROUP)
        data = place / "data"
        subprocess.run(
            [postgres.parent / "initdb", "--pgdata", data, "--username", "evenfield", "--auth", "trust",
             "--encoding", "UTF8", "--no-locale", "--no-sync"],
            check=True, capture_output=True, cwd=place, user=USER, group=GROUP,
        )  # fmt: skip
        settings = {"listen_addresses": "", "unix_socket_directories": folder, "fsync": "off"}
        options = [part for name, value in settings.items() for part in ("-c", f"{name}={value}")]
        server = subprocess.Popen(
            [postgres, "-D", data, *options], cwd=place, stderr=subprocess.DEVNULL, user=USER, group=GROUP
        )
        try:
            _wait_for(place / ".s.PGSQL.5432", server)
            yield f"postgresql:///postgres?host={folder}&user=evenfield"
        finally:
            server.terminate()
            server.wait(timeout=30)


def _wait_for(socket: Path, server: "subprocess.Popen[bytes]") -> None:
    for _ in range(600):
        if socket.exists():
            return
        assert server.poll() is None, "PostgreSQL ended"
        time.sleep(0.05)
    pytest.fail("PostgreSQL did not start within 30 s")


@pytest.mark.slow
@pytest.mark.skipif("DATABASE_URL" in os.environ, reason="this whole run is on the database of DATABASE_URL")
def test_the_clinic_on_postgresql(database_url: str) -> None:
    """Every test of this folder that touches the database."""
    done = subprocess.run(
        [sys.executable, "-m", "pytest", str(HERE), "-q", "-p", "no:cacheprovider", "-p", "no:xdist",
         "-m", "not browser", "--deselect", str(Path(__file__))],
        env={**os.environ, "DATABASE_URL": database_url},
        cwd=HERE.parents[1], capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-6000:]
    assert " passed" in done.stdout
