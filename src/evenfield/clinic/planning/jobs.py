"""Computations one at a time, each in a process of its own, started by a thread of the server.

A job is a row: pages read it, cancelling changes it, and the thread that runs it looks at it every second.
The process ends with the server; a job whose server is gone is told so when somebody next looks. Jobs that
were waiting then are done by the next server.
"""

import json
import os
import queue
import subprocess
import sys
import threading
from datetime import timedelta
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from evenfield.clinic.planning import store
from evenfield.clinic.planning.models import ACTIVE, Job, JobKind, JobState, Plan

BEAT_S = 1.0
GONE_AFTER = timedelta(seconds=30)
"""A running job that nobody vouched for in this time has lost its server."""
SERVER_ENDED = "The server ended while this was computed. Start it again."
ENDED_EARLY = "The computation ended before it was finished; start it again, and if it ends again say so."
_lock = threading.Lock()
_thread: threading.Thread | None = None


def order(plan: Plan, kind: JobKind, asked: dict[str, Any] | None = None) -> Job:
    """Put a computation in the queue; one of the same kind (but full answers) already there is kept."""
    with transaction.atomic():
        there = plan.jobs.filter(kind=kind, state__in=ACTIVE).last()
        if there is not None and kind is not JobKind.FULL:
            return there
        job = Job.objects.create(plan=plan, kind=kind, asked=asked or {})
    transaction.on_commit(wake)
    return job


def cancel(job: Job) -> bool:
    """Cancel what waits or runs; False if it had already ended. The process ends within a second."""
    rows = Job.objects.filter(pk=job.pk, state__in=ACTIVE)
    return bool(rows.update(state=JobState.CANCELLED, ended=timezone.now(), words="Cancelled."))


def note_gone() -> None:
    """Mark as failed what lost its server."""
    gone = Job.objects.filter(state=JobState.RUNNING, alive__lt=timezone.now() - GONE_AFTER)
    gone.update(state=JobState.FAILED, ended=timezone.now(), words=SERVER_ENDED)


def wake() -> None:
    """See to it that a thread does what waits."""
    global _thread
    with _lock:
        if _thread is None or not _thread.is_alive():
            _thread = threading.Thread(target=_run, daemon=True, name="evenfield-planning")
            _thread.start()


def _run() -> None:
    global _thread
    try:
        while run_next():
            pass
    finally:
        connection.close()
        with _lock:
            _thread = None


def run_next() -> bool:
    """Do the job that has waited longest, forecasts and full answers before longer ones; False if none waits
    or another server computes."""
    job = _claimed()
    if job is None:
        return False
    _compute(job)
    return True


def _claimed() -> Job | None:
    note_gone()
    with transaction.atomic():
        if Job.objects.filter(state=JobState.RUNNING).exists():
            return None
        waiting = Job.objects.select_related("plan").filter(state=JobState.WAITING)
        job = waiting.filter(kind__in=(JobKind.FORECAST, JobKind.FULL)).first() or waiting.first()
        if job is None:
            return None
        now = timezone.now()
        claim = Job.objects.filter(pk=job.pk, state=JobState.WAITING)
        if not claim.update(state=JobState.RUNNING, begun=now, alive=now, step="start"):
            return None
    return job


def _compute(job: Job) -> None:
    question = {
        "kind": job.kind,
        "case": job.plan.case,
        "asked": job.asked,
        "folder": str(store.folder_of(job.plan_id, job.kind)),
    }
    process = worker("evenfield.clinic.planning.worker")
    heard: queue.Queue[dict[str, Any] | None] = queue.Queue()
    threading.Thread(target=_listen, args=(process, heard), daemon=True).start()
    try:
        assert process.stdin
        process.stdin.write(json.dumps(question) + "\n")
        process.stdin.flush()
        end = _follow(job, heard)
    except OSError:
        end = {"problem": ENDED_EARLY}
    finally:
        process.kill()
        process.wait()
        for stream in (process.stdin, process.stdout):
            if stream:
                stream.close()
    store.sweep(job.plan_id, job.kind)
    if not Job.objects.filter(pk=job.pk).exists():
        store.forget([job.plan_id])  # erased meanwhile
    if end is None:
        return
    failed = "problem" in end
    kept = Job.objects.filter(pk=job.pk, state=JobState.RUNNING).update(
        state=JobState.FAILED if failed else JobState.DONE,
        ended=timezone.now(),
        words=str(end.get("problem", ""))[:400],
        result=end.get("done", {}),
        share=1.0,
    )
    if kept and not failed and job.kind == JobKind.FORECAST:
        plan = Plan.objects.get(pk=job.plan_id)
        _keep_summary(plan, end["done"])


def _keep_summary(plan: Plan, summary: dict[str, Any]) -> None:
    from evenfield.clinic.audit.actor import Actor, acting

    plan.summary = summary
    with acting(Actor("planning")):
        plan.save()


def _listen(process: "subprocess.Popen[str]", heard: "queue.Queue[dict[str, Any] | None]") -> None:
    assert process.stdout
    try:
        for line in process.stdout:
            heard.put(json.loads(line))
    except ValueError:
        pass
    heard.put(None)


def _follow(job: Job, heard: "queue.Queue[dict[str, Any] | None]") -> dict[str, Any] | None:
    """What the process says at its end; None if the job was cancelled or its row is gone."""
    told: dict[str, Any] = {"step": "start", "share": 0.0}
    while True:
        try:
            line = heard.get(timeout=BEAT_S)
        except queue.Empty:
            line = told
        if line is None:
            return {"problem": ENDED_EARLY}
        if "step" not in line:
            return line
        told = line
        running = Job.objects.filter(pk=job.pk, state=JobState.RUNNING)
        if not running.update(alive=timezone.now(), step=told["step"][:40], share=told["share"]):
            return None


def worker(module: str) -> "subprocess.Popen[str]":
    """A process of our own that answers on its standard output and ends with its standard input."""
    threads = str(max(1, min(4, (os.cpu_count() or 2) - 1)))
    return subprocess.Popen(
        [sys.executable, "-m", module],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "NUMBA_NUM_THREADS": threads},
    )
