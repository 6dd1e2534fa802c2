"""A PostgreSQL server of one's own that listens on a socket file only, for tests and measurements."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

# PostgreSQL refuses to run as root.
_USER, _GROUP = ("nobody", "nogroup") if os.geteuid() == 0 else (None, None)
_STARTS_WITHIN_S = 30.0


def installed() -> Path:
    """The newest server program on this machine. Raises FileNotFoundError where there is none."""
    if found := shutil.which("postgres"):
        return Path(found).resolve()
    if places := sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres")):
        return places[-1]
    raise FileNotFoundError("PostgreSQL is not installed: no program postgres on the path or in /usr/lib.")


@contextmanager
def own_postgresql(place: Path, postgres: Path, *, durable: bool = False) -> Iterator[str]:
    """A new, empty server in the folder `place`, ended afterwards; yields its address for DATABASE_URL.

    It is a direct child of this process. `durable` writes through to the disk as in use; tests need not.
    Raises RuntimeError if it does not start.
    """
    place.mkdir(parents=True, exist_ok=True)
    if _USER:
        shutil.chown(place, _USER, _GROUP)
    data = place / "data"
    subprocess.run(
        [postgres.parent / "initdb", "--pgdata", data, "--username", "evenfield", "--auth", "trust",
         "--encoding", "UTF8", "--no-locale", "--no-sync"],
        check=True, capture_output=True, cwd=place, user=_USER, group=_GROUP,
    )  # fmt: skip
    settings = {
        "listen_addresses": "",
        "unix_socket_directories": str(place),
        "fsync": "on" if durable else "off",
    }
    options = [part for name, value in settings.items() for part in ("-c", f"{name}={value}")]
    server = subprocess.Popen(
        [postgres, "-D", data, *options], cwd=place, stderr=subprocess.DEVNULL, user=_USER, group=_GROUP
    )
    try:
        _wait_for(place / ".s.PGSQL.5432", server)
        yield f"postgresql:///postgres?host={place}&user=evenfield"
    finally:
        server.terminate()
        server.wait(timeout=60)


def _wait_for(socket: Path, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + _STARTS_WITHIN_S
    while not socket.exists():
        if server.poll() is not None or time.monotonic() > until:
            raise RuntimeError(f"PostgreSQL did not start within {_STARTS_WITHIN_S:.0f} s")
        time.sleep(0.05)
