"""A real clinic in a process of its own, with a running visit and a token for it."""

import json
import os
import signal
import socket
import sqlite3
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.clinic.real_server import stop

BARE = {"PATH": "/usr/bin:/bin", "HOME": "/nowhere"}  # without the settings of the tests
_BEGIN = """
import sys
from datetime import date, timedelta
from importlib import resources
from pathlib import Path
from evenfield.clinic.terminal import migrate, start_django
start_django(Path(sys.argv[1]))
migrate()
from django.utils import timezone
from evenfield.clinic.access import Role
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.api.tokens import make_token
from evenfield.clinic.audit.actor import acting
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.courses.visits import begin_visit
from evenfield.clinic.people.models import Person
from evenfield.clinic.visits.running import keep_beginning
plan = resources.files("evenfield.clinic.visits") / "data" / "demonstration_thigh.toml"
operator = Account(username="operator", name="Somebody Invented")
operator.roles = frozenset({Role.OPERATOR})
with acting(operator.actor("test")):
    operator.save()
    person = Person(given_name="Ines", family_name="Pallandér", born=date(1988, 11, 3))
    person.save()
    course = Course(person=person, region="thigh", side="left", visits_planned=6, spacing_days=14)
    course.save()
    visit = Visit(course=course, number=1, planned_start=timezone.now(), minutes=60)
    visit.plan = {"case": plan.read_text(encoding="utf-8")}
    visit.save()
    visit = begin_visit(visit)
    keep_beginning(visit)
    visit.started_at -= timedelta(minutes=20)
    visit.save()
    print(visit.pk, make_token(operator, "thermometer", ["visits.view", "visits.enter"], 30))
"""
_SERVE = """
import sys
from pathlib import Path
from evenfield.clinic.serve import serve
serve(Path(sys.argv[1]), int(sys.argv[2]), say=lambda line: print(line, flush=True))
"""


@dataclass
class RunningClinic:
    """The clinic on the disk, its server (always at the same address), the visit's number and a token."""

    home: Path
    visit: int = 0
    token: str = ""
    port: int = 0
    address: str = ""
    _server: "subprocess.Popen[str] | None" = field(default=None, repr=False)

    def begin(self) -> None:
        """A visit of today, begun as of twenty minutes ago, and a server."""
        told = subprocess.run(
            [sys.executable, "-c", _BEGIN, str(self.home)],
            stdout=subprocess.PIPE,
            text=True,
            check=True,
            env=BARE,
        )
        number, self.token = told.stdout.split()
        self.visit = int(number)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}/"
        self.serve()

    def serve(self) -> None:
        """A new server process on the same data and port; on return it listens."""
        call = [sys.executable, "-c", _SERVE, str(self.home), str(self.port)]
        self._server = subprocess.Popen(call, stdout=subprocess.PIPE, text=True, env=BARE)
        assert self._server.stdout
        line = self._server.stdout.readline()
        assert f"serves {self.address}" in line

    def kill(self) -> None:
        """No chance to end well."""
        assert self._server
        os.kill(self._server.pid, signal.SIGKILL)
        self._server.wait()
        assert self._server.stdout
        self._server.stdout.close()
        self._server = None

    def hang(self, *, now: bool) -> None:
        """Take connections and answer nothing, or go on with all of it."""
        assert self._server
        self._server.send_signal(signal.SIGSTOP if now else signal.SIGCONT)

    def end(self) -> None:
        """End the server."""
        if self._server:
            stop(self._server)

    def events(self) -> list[dict[str, Any]]:
        """What the record holds of the visit, read without the program, in the order in which it was kept."""
        with sqlite3.connect(f"file:{self.home}/evenfield.sqlite3?mode=ro", uri=True) as record:
            rows = record.execute(
                "select content from visits_visitentry e join visits_visitcontent c on c.row_id = e.number "
                "where visit_id = ? order by number",
                (self.visit,),
            )
            return [json.loads(content)["event"] for (content,) in rows]

    def readings(self) -> list[tuple[str, float]]:
        """Zone and °C of each skin reading kept."""
        return [(e["zone"], e["celsius"]) for e in self.events() if e["kind"] == "skin_reading"]
