"""The live estimate of a visit: rebuilt from the entries to the same numbers, in a process of its own."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from time import sleep
from typing import Any

import numpy as np
import pytest
from django.conf import settings
from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

from evenfield.case import case_from_toml
from evenfield.clinic.visits import estimating, worker
from evenfield.clinic.visits.estimating import Estimator, Question, wait_for
from evenfield.clinic.visits.for_rules import for_conduct
from evenfield.clinic.visits.plans import plan_of
from evenfield.clinic.visits.translation import inputs_of
from evenfield.conduct import Event, event_from_mapping
from evenfield.conduct.events import TooHotAllOver, event_to_mapping
from evenfield.follow import ComfortSaid, FieldOff, FieldOn, PanelShift, PowerNow, SkinRead, prepare, to_npz
from evenfield.forecast.accuracy import chosen_layout

pytestmark = pytest.mark.slow
UPPER_ARM = (Path(__file__).parents[2] / "examples/upper_arm.toml").read_text("utf-8")
SAID: list[tuple[int, dict[str, Any]]] = [
    (5, {"kind": "started"}),
    (8, {"kind": "power_set", "watts": 30}),
    (95, {"kind": "tuning_shown", "percent": 88}),
    (300, {"kind": "skin_reading", "zone": "inner: centre", "celsius": 35.1}),
    (330, {"kind": "panel_moved", "panel": "inner", "by_mm": 3, "side": "rising_level"}),
    (400, {"kind": "paused"}),
    (450, {"kind": "resumed"}),
    (600, {"kind": "comfort", "score": 6}),
]


def events(until_s: float = 1e9) -> tuple[Event, ...]:
    """The entries made by then."""
    return tuple(
        event_from_mapping({"id": f"entry-{at_s}", "at_s": float(at_s), "received_s": at_s + 0.2, **said})
        for at_s, said in SAID
        if at_s <= until_s
    )


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example's model on a very coarse grid: the way of the numbers is tested here, not the numbers."""
    case = case_from_toml(UPPER_ARM, "example")
    layout = chosen_layout(case.region, case.placed).coarser().coarser()
    path = tmp_path_factory.mktemp("model") / "visit-7.npz"
    path.write_bytes(to_npz(prepare(case, layout=layout)))
    return path


def asked(model: Path, until_s: float, now_s: float) -> dict[str, object]:
    """A question to a worker."""
    told = [event_to_mapping(event) for event in events(until_s)]
    return {"do": "look", "visit": 7, "model": str(model), "events": told, "now_s": now_s}


def test_entries_become_what_follow_is_told() -> None:
    """A correction counts in the place of what it corrects, and nothing is told before it was known."""
    fix = event_from_mapping(
        {
            "id": "fix-1", "at_s": 700.0, "received_s": 700.0, "kind": "correction", "of": "entry-8",
            "replacement": {"id": "new", "at_s": 8.0, "kind": "power_set", "watts": 25},
        }
    )  # fmt: skip
    told = inputs_of([*events(), fix], 650.0)
    assert told[:2] == [FieldOn(5.0), PowerNow(8.0, 30.0)]
    assert PanelShift(330.0, "inner", 0.003, "rising_level") in told
    assert SkinRead(300.0, "inner: centre", 35.1) in told
    assert told[5:7] == [FieldOff(400.0), FieldOn(450.0)]
    assert inputs_of([*events(), fix], 710.0)[1] == PowerNow(8.0, 25.0)
    assert len(inputs_of(events(), 299.0)) == 3


def test_too_hot_all_over_is_told_as_low_comfort() -> None:
    """As docs/follow.md says."""
    assert inputs_of([TooHotAllOver(id="hot", at_s=60)], 61.0) == [ComfortSaid(60.0, 2.0)]


def test_a_restarted_process_finds_the_same_numbers(model: Path) -> None:
    """One process that followed the visit from second to second, and one that is told everything at once."""
    steady, fresh = worker.Answers(), worker.Answers()
    for now_s in (1.0, 60.0, 97.3, 250.0, 310.0, 401.0, 480.5, 599.0):
        assert "estimate" in steady.to(asked(model, now_s, now_s))
    once, again = (one.to(asked(model, 700.0, 700.0)) for one in (steady, fresh))
    assert json.dumps(once) == json.dumps(again)
    late = asked(model, 700.0, 720.0)
    late["events"] = [event_to_mapping(e) for e in (*events(), _late())]  # from a tablet that was offline
    assert json.dumps(steady.to(late)) == json.dumps(worker.Answers().to(late))
    assert json.dumps(steady.to(late)) != json.dumps(once)


def _late() -> Event:
    said = {"kind": "skin_reading", "zone": "inner: upper back", "celsius": 36.0}
    return event_from_mapping({"id": "late-entry", "at_s": 200.0, "received_s": 715.0, **said})


def test_what_the_rules_get_is_what_the_page_shows(model: Path) -> None:
    told = worker.Answers().to(asked(model, 700.0, 700.0))["estimate"]
    estimate = for_conduct(told)
    assert estimate
    assert len(estimate.zones) == 18
    plan = plan_of({"case": UPPER_ARM}, "upper_arm")
    assert [zone.zone for zone in estimate.zones] == [place["label"] for place in plan.places]
    for zone in estimate.zones:
        assert zone.skin_mean_c.low <= zone.skin_mean_c.value <= zone.skin_mean_c.high
        assert 25 < zone.fat_mean_c.value < 60
    assert np.diff(told["so_far"]["minutes"]).min() > 0
    assert told["ahead"]["minutes"][0] == pytest.approx(700 / 60, abs=1e-3)


@pytest.fixture
def question(model: Path, db: None) -> Iterator[Question]:
    """A visit whose model lies where the server keeps it."""
    one = Question(7, UPPER_ARM, events(), 700.0)
    one.model.parent.mkdir(exist_ok=True)
    one.model.write_bytes(model.read_bytes())
    yield one
    one.model.unlink(missing_ok=True)


def test_a_worker_of_its_own_answers_and_dies_with_its_server(question: Question) -> None:
    assert str(question.model).startswith(str(settings.EVENFIELD_HOME))
    told = wait_for(question, 60)
    assert told
    with threadpool_limits(1):  # as the worker is started: another order of summing has other last digits
        here = worker.Answers().to(asked(question.model, 700, 700.0))["estimate"]
    assert json.dumps(told) == json.dumps(here)
    mine = Estimator()
    assert mine.exactly(question, 60) == told
    process = mine._live._process
    assert process
    assert process.stdin
    process.stdin.close()  # what the system does when the server is killed
    assert process.wait(timeout=20) == 0
    assert process.stdout
    process.stdout.close()


def test_a_damaged_model_is_said_and_made_anew(question: Question) -> None:
    question.model.write_bytes(b"half a file")
    said = worker.Answers().to(asked(question.model, 700, 700.0))
    assert "made anew" in said["problem"]
    assert not question.model.exists()


def test_a_worker_that_hangs_is_ended_and_a_new_one_answers(
    question: Question, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped by a signal it neither answers nor ends: what waits for it would wait for ever."""
    mine = Estimator()
    told = mine.exactly(question, 60)
    hung = mine._live._process
    assert hung
    os.kill(hung.pid, signal.SIGSTOP)
    try:
        monkeypatch.setattr(estimating, "SILENT_S", 1.0)
        assert mine.exactly(question, 20) is None
        monkeypatch.undo()
        assert mine.exactly(question, 60) == told
        assert hung.poll() == -signal.SIGKILL
    finally:
        hung.kill()
        hung.wait()
        assert hung.stdin
        assert hung.stdout
        hung.stdin.close()
        hung.stdout.close()
    new = mine._live._process
    assert new
    assert new.stdin
    assert new.stdout
    new.stdin.close()
    assert new.wait(timeout=20) == 0
    new.stdout.close()


def test_a_worker_at_work_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    with worker.signs_of_life(0.01):
        sleep(0.1)
    said = capsys.readouterr().out
    assert said
    assert set(said) == {"\n"}


def test_a_worker_whose_server_has_ended_ends_without_a_word() -> None:
    command = [sys.executable, "-m", "evenfield.clinic.visits.worker"]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True) as process:
        assert process.stdin
        assert process.stdout
        assert process.stderr
        process.stdout.close()
        process.stdin.write('{"do": "nothing"}\n')
        process.stdin.flush()
        told = process.stderr.read()
    assert (process.returncode, told) == (0, "")
