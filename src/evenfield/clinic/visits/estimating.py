"""Live estimates, computed in a process of their own so that they never hold up an entry.

Whoever reads a visit asks; the answer is the newest estimate at hand, and a new one is begun when entries
came or the newest is `EVERY_S` old. A visit nobody looks at is not computed. Nothing is kept here: the
estimate is rebuilt from the entries, to the same numbers, by whichever process asks next.
"""

import hashlib
import json
import os
import subprocess
import sys
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from time import monotonic, sleep
from typing import Any

from django.conf import settings

from evenfield.conduct import Event
from evenfield.conduct.events import event_to_mapping

EVERY_S = 5.0
REST_S = 20.0
"""After a failure the worker is left alone for so long."""
SILENT_S = 60.0
"""A worker at work says so every few seconds (`worker`); silent for so long it hangs and is ended."""
LONGEST_S = 1800.0
"""And so is one that is still at work at one question after this time."""


@dataclass(frozen=True)
class Question:
    """What a worker is asked: one visit at a moment. `model` is where the plan's heat model is kept."""

    visit: int
    case: str
    events: tuple[Event, ...]
    now_s: float

    @property
    def model(self) -> Path:
        """The file of the prepared model; another case has another file."""
        name = hashlib.sha256(self.case.encode()).hexdigest()[:16]
        return models_folder() / f"visit-{self.visit}-{name}.npz"

    @property
    def mark(self) -> tuple[int, str]:
        """What must change for the answer to change: how many entries, the last one."""
        return len(self.events), self.events[-1].id if self.events else ""


def models_folder() -> Path:
    """Where prepared models lie; they can be computed again at any time."""
    return Path(settings.EVENFIELD_HOME) / "live-models"


def forget_models(visits: Sequence[int]) -> None:
    """Remove the prepared models of these visits: they follow from a person's measurements."""
    for number in visits:
        for file in models_folder().glob(f"visit-{number}-*"):
            file.unlink(missing_ok=True)


@dataclass
class _Answer:
    told: dict[str, Any] | None = None
    mark: tuple[int, str] | None = None
    at: float = -1e9
    words: str = "The estimate is being computed."


class Lane:
    """One worker process and the questions waiting for it, the newest per visit."""

    def __init__(self) -> None:
        self._waiting: OrderedDict[int, dict[str, Any]] = OrderedDict()
        self._answers: dict[int, tuple[dict[str, Any], tuple[int, str]]] = {}
        self._change = threading.Condition()
        self._thread: threading.Thread | None = None
        self._process: subprocess.Popen[str] | None = None

    def put(self, visit: int, question: dict[str, Any], done: Any) -> None:
        """Ask; an older question about the same visit is dropped. `done(answer)` is called by the thread."""
        with self._change:
            self._waiting[visit] = {"question": question, "done": done}
            if self._thread is None or not self._thread.is_alive():
                self._thread = threading.Thread(target=self._run, daemon=True, name="evenfield-estimates")
                self._thread.start()
            self._change.notify()

    def busy_with(self, visit: int) -> bool:
        """Whether a question about this visit waits."""
        return visit in self._waiting

    def _run(self) -> None:
        while True:
            with self._change:
                while not self._waiting:
                    self._change.wait()
                _visit, job = self._waiting.popitem(last=False)
            job["done"](self._ask(job["question"]))

    def _ask(self, question: dict[str, Any]) -> dict[str, Any]:
        try:
            process = self._process
            if process is None or process.poll() is not None:
                process = self._process = _worker()
            assert process.stdin
            assert process.stdout
            process.stdin.write(json.dumps(question) + "\n")
            process.stdin.flush()
            line = _next_line(process)
            answer: dict[str, Any] = json.loads(line) if line else {"problem": "the computation ended"}
        except (OSError, ValueError) as error:
            answer = {"problem": f"the computation could not be reached ({error})"}
        if "problem" in answer and self._process and self._process.poll() is not None:
            self._process = None
        return answer


def _next_line(process: "subprocess.Popen[str]") -> str:
    """The worker's answer, past its signs of life (empty lines); "" if it ended or hung and was ended."""
    assert process.stdout
    begun = monotonic()
    while monotonic() - begun < LONGEST_S:
        silent = threading.Timer(SILENT_S, process.kill)
        silent.start()
        try:
            line = process.stdout.readline()
        finally:
            silent.cancel()
        if line != "\n":
            break
    else:
        process.kill()
        line = ""
    if not line:
        process.wait()
    return line


def _worker() -> "subprocess.Popen[str]":
    """A process that answers lines until its input ends, which it does when this process dies."""
    few = {"OPENBLAS_NUM_THREADS": "1", "NUMBA_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    return subprocess.Popen(
        [sys.executable, "-m", "evenfield.clinic.visits.worker"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | few,
    )


class Estimator:
    """The estimates of this server: two workers, so that preparing a plan holds up no running visit."""

    def __init__(self) -> None:
        self._live, self._preparing = Lane(), Lane()
        self._newest: dict[int, _Answer] = {}
        self._asked: dict[int, tuple[tuple[int, str], float]] = {}
        self._lock = threading.Lock()

    def newest(self, question: Question) -> tuple[dict[str, Any] | None, str]:
        """The newest estimate at hand and, where there is none, why; asks for a newer one where due."""
        if not question.case:
            return None, "No usable plan is saved with this visit, so there is no estimate."
        with self._lock:
            held = self._newest.setdefault(question.visit, _Answer())
            asked, when = self._asked.get(question.visit, ((-1, ""), -1e9))
            stale = monotonic() - when
            due = (asked != question.mark and stale > 0.5) or stale > EVERY_S
            if not due:
                return held.told, held.words
            self._asked[question.visit] = question.mark, monotonic()
        self._begin(question)
        return held.told, held.words

    def exactly(self, question: Question, seconds: float) -> dict[str, Any] | None:
        """The estimate for this very question, if it comes within the time; for closing a visit."""
        if not question.case or not question.model.exists():
            return None
        found: list[dict[str, Any]] = []
        there = threading.Event()

        def done(answer: dict[str, Any]) -> None:
            found.append(answer)
            there.set()

        self._live.put(-question.visit, _look(question), done)
        if not there.wait(seconds) or "estimate" not in found[0]:
            return None
        told: dict[str, Any] = found[0]["estimate"]
        return told

    def _begin(self, question: Question) -> None:
        number, mark = question.visit, question.mark

        def looked(answer: dict[str, Any]) -> None:
            with self._lock:
                held = self._newest.setdefault(number, _Answer())
                if "estimate" in answer:
                    held.told, held.mark, held.words = answer["estimate"], mark, ""
                else:
                    held.words = f"No newer estimate: {answer.get('problem', 'no answer')}."
                    self._asked[number] = mark, monotonic() + REST_S - EVERY_S

        if question.model.exists():
            self._live.put(number, _look(question), looked)
            return
        with self._lock:
            self._newest[number].words = "The plan's heat model is being prepared; the estimate follows soon."
            if self._preparing.busy_with(number):
                return

        def prepared(answer: dict[str, Any]) -> None:
            if "problem" in answer:
                looked(answer)

        asks = {"do": "prepare", "case": question.case, "model": str(question.model)}
        self._preparing.put(number, asks, prepared)


def _look(question: Question) -> dict[str, Any]:
    return {
        "do": "look",
        "visit": question.visit,
        "model": str(question.model),
        "events": [event_to_mapping(event) for event in question.events],
        "now_s": question.now_s,
    }


ESTIMATES = Estimator()


def wait_for(question: Question, seconds: float) -> dict[str, Any] | None:
    """An estimate as soon as there is one, at most so long; for tests and benchmarks."""
    until = monotonic() + seconds
    while monotonic() < until:
        told, _words = ESTIMATES.newest(question)
        if told:
            return told
        sleep(0.1)
    return None
