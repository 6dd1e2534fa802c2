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
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.compared import verify_record
from evenfield.clinic.audit.invented import DEMONSTRATION, InventedTimeError, invented_at, invented_moment
from evenfield.clinic.audit.models import AuditEvent
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.demonstration import make_demonstration
from evenfield.clinic.measuring.models import MeasureEntry
from evenfield.clinic.people.models import Person
from evenfield.clinic.screening.models import ScreeningEntry
from evenfield.clinic.setup_check.models import SetupEntry
from evenfield.clinic.visits.models import VisitEntry

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


@pytest.mark.slow
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


@pytest.mark.slow
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


def test_what_was_entered_bears_the_time_of_its_visit(db: None) -> None:
    """A record in which a visit's entries are of another day than the visit contradicts itself."""
    make_demonstration()
    assert verify_record().holds
    done = list(Visit.objects.filter(state="done"))
    assert len(done) >= 8
    for visit in done:
        assert visit.started_at
        assert visit.ended_at
        for entry in visit.entries.all():
            assert visit.started_at <= entry.at <= visit.ended_at, entry.kind
    for chain in (ScreeningEntry, SetupEntry, MeasureEntry, VisitEntry):
        times = list(chain._default_manager.order_by("number").values_list("at", flat=True))
        assert times == sorted(times)
    started = timezone.now() - timedelta(minutes=10)
    assert AuditEvent.objects.filter(at__lt=started).count() == 0  # the trail says when it was really made
    holvat = Person.objects.get(family_name="Holvat")
    first = Visit.objects.filter(course__person=holvat, state="done").earliest("planned_start")
    sets = {timezone.localdate(entry.at) for entry in MeasureEntry.about([holvat.pk])}
    assert sets == {first.day, timezone.localdate()}


def test_a_past_visit_has_all_that_it_needed(db: None) -> None:
    make_demonstration()
    client = Client()
    client.post("/sign-in/", {"username": "lead", "password": PASSWORD})
    for visit in Visit.objects.filter(state="done"):
        page = client.get(f"/courses/visit/{visit.pk}/").content.decode()
        lacking = re.findall(r'class="need off">\s*<span class="need-name">([^<]+)<', page)
        assert "asked on that day" in page, lacking
        assert "gone through" in page
        assert "signed" in page
        assert "not signed" not in page
        assert "not asked" not in page


def test_only_the_demonstration_may_invent_a_time(db: None) -> None:
    past = timezone.now() - timedelta(days=30)
    with acting(Actor("operator", account=2)), pytest.raises(InventedTimeError), invented_at(past):
        pass
    with acting(DEMONSTRATION), invented_at(past), acting(Actor("operator", account=2)):
        assert invented_moment() is None


@pytest.mark.slow
def test_what_was_never_asked_before_a_past_visit_is_not_on_record(db: None) -> None:
    """Nobody can still bring it: it is not called missing, as before a visit to come."""
    make_demonstration()
    client = Client()
    client.post("/sign-in/", {"username": "lead", "password": PASSWORD})
    done, planned = (
        Visit.objects.filter(course__person__family_name="Quist", state=state).earliest("planned_start")
        for state in ("done", "planned")
    )
    with acting(DEMONSTRATION):
        done.started_at -= timedelta(days=3)  # a day on which nothing was asked
        done.ended_at -= timedelta(days=3)
        done.save()
    words = [
        re.findall(
            r'<span class="tag off">([^<]+)</span>',
            client.get(f"/courses/visit/{one.pk}/").content.decode(),
        )
        for one in (done, planned)
    ]
    assert set(words[0]) == {"not on record"}
    assert "missing" in words[1]
