"""A stored visit played again: the prompts at every moment at which they changed, from its entries alone."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from evenfield.clinic.courses.models import Visit
from evenfield.clinic.visits.for_rules import for_conduct
from evenfield.clinic.visits.running import Running, running
from evenfield.clinic.visits.telling import question
from evenfield.conduct.advice import Prompt
from evenfield.conduct.estimate import Estimate
from evenfield.conduct.replay import replay

EVERY_S = 5.0
"""Between two estimates, as on a live page."""


@dataclass(frozen=True)
class Replay:
    """What a replay shows: (s from the visit's start, prompts) wherever the prompts changed, and why there is
    no estimate in it, or ""."""

    shown: list[tuple[float, tuple[Prompt, ...]]]
    without_estimate: str


def replayed(
    number: int, *, estimate: bool, progress: Callable[[float], None] = lambda _share: None
) -> Replay:
    """Play a visit again up to now or to its end. Same entries, same prompts.

    With ``estimate`` the live estimate is computed anew, at every entry and every five seconds; a live
    page asked at moments of its own, so a prompt from the estimate may come some seconds apart from then.
    ``progress`` is told the share done. Raises Visit.DoesNotExist, and VisitError for a visit not begun.
    """
    run = running(Visit.objects.select_related("course__person").get(pk=number))
    estimates, why = _estimates(run, progress) if estimate else ([], "Replayed without the estimate.")
    return Replay(replay(run.events, run.profile, estimates, until_s=run.now_s), why)


def _estimates(run: Running, progress: Callable[[float], None]) -> tuple[list[Estimate], str]:
    from evenfield.clinic.visits.worker import Answers

    asked = question(run)
    if not asked.case:
        return [], "No usable plan is saved with this visit, so there is no estimate."
    answers = Answers()
    told = {"case": asked.case, "model": str(asked.model), "visit": run.visit.pk}
    problem = answers.to({**told, "do": "prepare"}).get("problem")
    found = []
    for at_s in [] if problem else _moments(run):
        known = [row.content["event"] for row in run.rows if row.event and row.event.known_s <= at_s]
        answer = answers.to({**told, "do": "look", "events": known, "now_s": at_s})
        problem = answer.get("problem")
        if problem:
            break
        here = for_conduct(answer["estimate"])
        found += [here] if here else []
        progress(at_s / max(run.now_s, 1.0))
    return found, f"The estimate ends early: {problem}." if problem else ""


def _moments(run: Running) -> Iterator[float]:
    """Every entry's time of being known, and every five seconds, in order."""
    known = {event.known_s for event in run.events if 0.0 <= event.known_s <= run.now_s}
    yield from sorted(known | {EVERY_S * step for step in range(int(run.now_s / EVERY_S) + 1)})
