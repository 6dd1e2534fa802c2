"""A real server in a process of its own, for tests that go through HTTP and through a browser."""

import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest


def environment(database_url: str = "") -> dict[str, str]:
    """What a process of the clinic gets to know of this one: nothing but its database."""
    return {"PATH": "/usr/bin:/bin"} | ({"DATABASE_URL": database_url} if database_url else {})


def start(
    home: Path, *, demo: bool, port: int = 0, database_url: str = ""
) -> tuple["subprocess.Popen[str]", str, list[str]]:
    """Start `serve` in a process of its own, at any free port unless one is given; the process, its address
    and the lines it printed."""
    if not port:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
    call = f"serve(Path({str(home)!r}), {port}, demo={demo}, say=lambda line: print(line, flush=True))"
    process = subprocess.Popen(
        [sys.executable, "-c", f"from pathlib import Path; from evenfield.clinic.serve import serve; {call}"],
        stdout=subprocess.PIPE,
        text=True,
        env=environment(database_url),
    )
    lines: list[str] = []
    address = f"http://127.0.0.1:{port}/"
    assert process.stdout
    while not (lines and (f"serves {address}" in lines[-1] if demo else "First run" in lines[-1])):
        line = process.stdout.readline()
        assert line, f"the server ended after {lines}"
        lines.append(line.strip())
    for _ in range(400):
        try:
            urllib.request.urlopen(f"{address}about/").close()
        except OSError:
            time.sleep(0.05)
        else:
            return process, address, lines
    pytest.fail("no answer within 20 s")


def stop(process: "subprocess.Popen[str]") -> None:
    """End a server started here."""
    process.terminate()
    process.wait(timeout=20)
    if process.stdout:
        process.stdout.close()
