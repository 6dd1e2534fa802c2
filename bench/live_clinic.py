"""An invented clinic with running visits, its server in a process of its own, and tablets that speak HTTP.

For `bench.live_rooms` and `bench.kills`. Everything lies in a directory that is thrown away.
"""

from __future__ import annotations

import http.client
import json
import os
import re
import secrets
import signal
import socket
import subprocess
import sys
import time
import urllib.parse
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PASSWORD = "nineteen slow herons wading at dusk"


def make_clinic(home: Path, visits: int, case: str = "") -> list[int]:
    """Fill an empty directory with an operator and this many running visits; their numbers."""
    from evenfield.clinic.terminal import migrate, start_django

    start_django(home, demonstration=True)
    migrate()
    from datetime import date

    from django.contrib.auth.hashers import make_password
    from django.utils import timezone

    from evenfield.clinic.access import Role
    from evenfield.clinic.accounts.models import Account
    from evenfield.clinic.audit.actor import Actor, acting
    from evenfield.clinic.courses.models import Course, Visit
    from evenfield.clinic.courses.visits import begin_visit
    from evenfield.clinic.pages.models import Clinic
    from evenfield.clinic.people.models import Person
    from evenfield.clinic.visits.running import keep_beginning

    numbers = []
    with acting(Actor("bench")):
        account = Account(username="operator", name="Invented Operator")
        account.roles = frozenset({Role.OPERATOR})
        account.password = account.pin = make_password(PASSWORD)
        account.save()
        Clinic(name="Invented Clinic").save()
        for place in range(visits):
            person = Person(given_name="Invented", family_name=f"Number {place}", born=date(1980, 1, 1))
            person.save()
            course = Course(person=person, region="thigh", visits_planned=6, spacing_days=14)
            course.save()
            visit = Visit(course=course, number=1, planned_start=timezone.now(), minutes=60)
            visit.plan = {"case": case} if case else {}
            visit.save()
            keep_beginning(begin_visit(visit))  # without asking for screening and set-up
            numbers.append(int(visit.pk))
    return numbers


_CALL = "-m uvicorn evenfield.clinic.asgi:application --host 127.0.0.1 --lifespan off --no-access-log"


class Server:
    """`uvicorn` on the clinic's application, as `evenfield serve` runs it, in a process of its own."""

    def __init__(self, home: Path) -> None:
        self.home = home
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        self.process = self._started()

    def _started(self) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(
            [sys.executable, *_CALL.split(), "--port", str(self.port), "--log-level", "critical"],
            env={**os.environ, "EVENFIELD_HOME": str(self.home)},
            stderr=subprocess.DEVNULL,
        )
        answers(self.port)
        return process

    def processor_s(self) -> float:
        """Processor time used by the server's process so far, s; without its workers'."""
        words = Path(f"/proc/{self.process.pid}/stat").read_text("utf-8").rsplit(")", 1)[1].split()
        return (int(words[11]) + int(words[12])) / float(os.sysconf("SC_CLK_TCK"))

    def kill(self) -> None:
        """`kill -9`."""
        self.process.kill()
        self.process.wait()

    def again(self) -> None:
        """A new process at the same port."""
        self.process = self._started()

    def stop(self) -> None:
        """End it as a person would."""
        self.process.terminate()
        self.process.wait(timeout=30)


def answers(port: int) -> None:
    """Wait until something listens."""
    until = time.monotonic() + 120
    while time.monotonic() < until:
        try:
            socket.create_connection(("127.0.0.1", port), 0.2).close()
        except OSError:
            time.sleep(0.02)
        else:
            return
    raise RuntimeError("the server did not come up within two minutes")


_NURSERY = """
import os, sys
import uvicorn
from evenfield.clinic import asgi
from evenfield.clinic.access import routes
from django.db import connection
list(routes())
assert connection.connection is None
for line in sys.stdin:
    word, number = line.split()
    if word == "wait":
        os.waitpid(int(number), 0)
        print("gone", flush=True)
    elif child := os.fork():
        print(child, flush=True)
    else:
        os.dup2(os.open(os.devnull, os.O_RDWR), 0)
        uvicorn.run(asgi.application, host="127.0.0.1", port=int(number), lifespan="off", access_log=False,
                    log_level="critical")
"""


class Nursery:
    """A process that has read the program once and splits off servers, each a process of its own with its own
    threads and connections: for many starts in a short time."""

    def __init__(self, home: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", _NURSERY],
            env={**os.environ, "EVENFIELD_HOME": str(home)},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )

    def start(self, port: int) -> int:
        """A new server at this port; the number of its process."""
        found = int(self._said("start", port))
        answers(port)
        return found

    def kill(self, number: int) -> None:
        """`kill -9`, and wait for its end."""
        os.kill(number, signal.SIGKILL)
        self._said("wait", number)

    def _said(self, word: str, number: int) -> str:
        assert self.process.stdin
        assert self.process.stdout
        self.process.stdin.write(f"{word} {number}\n")
        self.process.stdin.flush()
        return self.process.stdout.readline().strip()

    def end(self) -> None:
        """No more servers."""
        assert self.process.stdin
        self.process.stdin.close()
        self.process.wait(timeout=30)


@dataclass
class Tablet:
    """A signed-in browser without a screen: keep-alive, cookies, the CSRF token."""

    port: int
    cookies: dict[str, str]
    connection: http.client.HTTPConnection | None = None

    @classmethod
    def signed_in(cls, port: int) -> Tablet:
        """Through the sign-in page."""
        one = cls(port, {})
        one.ask("GET", "/sign-in/")
        form = {"username": "operator", "password": PASSWORD}
        status, _ = one.ask(
            "POST", "/sign-in/", urllib.parse.urlencode(form), "application/x-www-form-urlencoded"
        )
        if status != 302:
            raise RuntimeError(f"signing in was answered with {status}")
        return one

    def another(self) -> Tablet:
        """The same session on a connection of its own."""
        return Tablet(self.port, dict(self.cookies))

    def ask(
        self, method: str, path: str, body: str = "", kind: str = "application/json"
    ) -> tuple[int, bytes]:
        """One request; raises OSError or HTTPException if the server is gone."""
        if self.connection is None:
            self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        headers |= {"Content-Type": kind, "X-CSRFToken": self.cookies.get("evenfield_csrf", "")}
        if kind == "application/json":
            headers["X-Requested-With"] = "evenfield"
        try:
            self.connection.request(method, path, body or None, headers)
            answer = self.connection.getresponse()
            content = answer.read()
        except (OSError, http.client.HTTPException):
            self.connection.close()
            self.connection = None
            raise
        for header in answer.headers.get_all("Set-Cookie") or []:
            if found := re.match(r"(\w+)=([^;]*)", header):
                self.cookies[found[1]] = found[2]
        return answer.status, content

    def enter(self, visit: int, entry: dict[str, Any]) -> dict[str, Any]:
        """Send one entry; the server's answer about it."""
        body = json.dumps({"sent_ms": time.time() * 1000, "entries": [entry]})
        status, content = self.ask("POST", f"/visits/{visit}/entries/", body)
        if status != 200:
            raise RuntimeError(f"an entry was answered with {status}: {content[:200]!r}")
        answer: dict[str, Any] = json.loads(content)["answers"][0]
        return answer


def entry(event: dict[str, Any]) -> dict[str, Any]:
    """As a tablet writes it."""
    return {"id": secrets.token_hex(16), "wrote_ms": time.time() * 1000, "offset_ms": 0.0, "event": event}
