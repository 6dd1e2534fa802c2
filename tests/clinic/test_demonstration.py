"""`evenfield serve --demo` as `make demo` starts it: address and sign-in in the terminal, and a clean end."""

import re
import signal
import socket
import subprocess
import sys
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from evenfield.clinic.accounts.demonstration import PASSWORD
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.compared import verify_record
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.demonstration import make_demonstration

EVENFIELD = [sys.executable, "-m", "evenfield"]


@pytest.mark.slow
def test_it_says_where_and_how_to_sign_in_ends_with_ctrl_c_and_leaves_nothing(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    call = [*EVENFIELD, "serve", "--demo", "--port", str(port)]
    environment = {"PATH": "/usr/bin:/bin", "TMPDIR": str(tmp_path)}
    process = subprocess.Popen(call, stdout=subprocess.PIPE, text=True, env=environment)
    assert process.stdout
    said = ""
    while "stop with Ctrl+C" not in said:
        line = process.stdout.readline()
        assert line, f"it ended after {said!r}"
        said += line
    assert f"http://127.0.0.1:{port}/" in said
    assert f"password: {PASSWORD}" in said
    assert re.search(r"owner, lead, operator, trainer", said)
    page = urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in/", timeout=20).read().decode()
    assert "Everyone and everything here is invented" in page
    second = subprocess.run(call, capture_output=True, text=True, env=environment, check=False)
    assert second.returncode == 2
    assert second.stderr.startswith(f"Port {port} of this computer cannot be used")
    assert len(list(tmp_path.glob("evenfield-demonstration-*"))) == 1
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=20) == 0
    process.stdout.close()
    assert list(tmp_path.glob("evenfield-demonstration-*")) == []


def test_the_invented_clients_are_at_different_points_of_their_course(db: None) -> None:
    make_demonstration()
    assert verify_record().holds
    done = {
        course.person.family_name: course.visits.filter(state="done").count()
        for course in Course.objects.select_related("person")
    }
    assert len(done) >= 5
    assert len(set(done.values())) >= 3
    assert min(done.values()) == 0
    states = set(Visit.objects.values_list("state", flat=True))
    assert {"planned", "done", "missed"} <= states
    ahead = Visit.objects.filter(planned_start__gte=timezone.now() - timedelta(days=1), state="planned")
    assert ahead.count() >= 10
    make_demonstration()  # again does nothing
    assert Course.objects.count() == len(done)


@pytest.mark.parametrize("username", ["owner", "lead", "operator"])
@pytest.mark.parametrize("days", [0, 1, 2, 3])
def test_everyone_treating_sees_the_day(
    db: None, monkeypatch: pytest.MonkeyPatch, username: str, days: int
) -> None:
    """From a Thursday to a Sunday: the demonstration has visits on whichever day it is shown."""
    shown = datetime(2026, 11, 26, 10, 0, tzinfo=UTC) + timedelta(days=days)
    monkeypatch.setattr(timezone, "now", lambda: shown)
    make_demonstration()
    client = Client()
    client.post("/sign-in/", {"username": username, "password": PASSWORD})
    assert Account.objects.get(username=username).has_perm("courses.view")
    page = client.get("/courses/calendar/?show=day").content.decode()
    assert page.count('class="entry-of') == 3


def test_what_was_never_asked_before_a_past_visit_is_not_on_record(db: None) -> None:
    """Nobody can still bring it: it is not called missing, as before a visit to come."""
    make_demonstration()
    client = Client()
    client.post("/sign-in/", {"username": "lead", "password": PASSWORD})
    done, planned = (
        Visit.objects.filter(course__person__family_name="Quist", state=state).earliest("planned_start")
        for state in ("done", "planned")
    )
    words = [
        re.findall(
            r'<span class="tag off">([^<]+)</span>',
            client.get(f"/courses/visit/{one.pk}/").content.decode(),
        )
        for one in (done, planned)
    ]
    assert set(words[0]) == {"not on record"}
    assert "missing" in words[1]
