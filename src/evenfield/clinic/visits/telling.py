"""What the live page is told at every heartbeat: plain data."""

import math
from datetime import datetime
from typing import Any

from django.utils import timezone

from evenfield.clinic.courses.models import VisitState
from evenfield.clinic.visits.estimating import ESTIMATES, Question
from evenfield.clinic.visits.for_rules import for_conduct
from evenfield.clinic.visits.running import Row, Running
from evenfield.clinic.visits.wording import said
from evenfield.conduct import Advice, Phase, Prompt, prompt_to_mapping
from evenfield.conduct.state import Place


def question(run: Running) -> Question:
    """What the estimator is asked about a visit."""
    return Question(run.visit.pk, run.plan.case_text, tuple(run.events), round(run.now_s, 3))


def heartbeat(run: Running, after: int, have: float | None, received: datetime) -> dict[str, Any]:
    """Everything that may have changed: entries beyond number `after`, and the estimate unless the page has
    the one of `have` already."""
    estimate, words = ESTIMATES.newest(question(run))
    advice = run.advice(for_conduct(estimate))
    told: dict[str, Any] = {
        "server_ms": _ms(timezone.now()),
        "received_ms": _ms(received),
        "now_s": round(run.now_s, 3),
        "running": run.visit.state == VisitState.RUNNING,
        "state": state(advice, run),
        "prompts": [prompt_to_mapping(one) | {"move": move(one, run)} for one in advice.prompts],
        "coming": [
            {"rule": one.rule, "what": one.what, "due_s": round(one.due_s, 3)} for one in advice.coming[:4]
        ],
        "entries": [entry(row) for row in run.rows if row.number > after],
        "last": run.rows[-1].number if run.rows else 0,
        "estimate_words": words,
        "estimate_at_s": estimate["at_s"] if estimate else None,
    }
    if estimate and estimate["at_s"] != have:
        told["estimate"] = estimate
    return told


def move(prompt: Prompt, run: Running) -> dict[str, Any] | None:
    """What a prompt to move a panel says about the move: panel, side, and for the way back how far (mm)."""
    if prompt.entry != "panel_moved":
        return None
    place = prompt.place or Place()
    zone = next((one for one in run.plan.places if one["label"] == place.zone), {})
    return {
        "panel": place.panel or zone.get("panel") or zone.get("label"),
        "side": place.side or _edge(zone),
        "by_mm": prompt.suggested,
    }


def _edge(zone: dict[str, Any]) -> str:
    """The side of its panel on which a zone lies; "whole" for the centre and for a corner, which has two."""
    across, along = zone.get("across", 1), zone.get("along", 1)
    if (across == 1) == (along == 1):
        return "whole"
    if across == 1:
        return "rising_level" if along == 2 else "falling_level"
    return "rising_angle" if across == 2 else "falling_angle"


def phase_words(advice: Advice) -> str:
    """Where a running visit stands: begun means being set up, and over means still to be closed."""
    found = {Phase.PLANNED: Phase.SETTING_UP.value, Phase.CLOSED: "to be closed"}
    return found.get(advice.phase, advice.phase.value)


def state(advice: Advice, run: Running) -> dict[str, Any]:
    """Where the visit stands, in numbers."""
    now = advice.state
    numbers = run.profile.numbers
    on_s = run.now_s - now.on_since_s if now.on_since_s is not None else 0.0
    session_s = now.session_s or 60.0 * numbers.session_minutes.value
    return {
        "phase": phase_words(advice),
        "to_close": advice.phase is Phase.CLOSED,
        "field_on": now.field_on,
        "started": now.started is not None,
        "paused": now.paused is not None,
        "stopped": now.stopped is not None,
        "power_w": now.power_w if now.power else None,
        "target_w": now.target_w or None,
        "tuning": now.tuning.value if now.tuning else None,
        "tuning_least": numbers.tuning_least_percent.value,
        "tuning_low": bool(now.tuning and now.tuning.value < numbers.tuning_least_percent.value),
        "comfort": now.comfort.value if now.comfort else None,
        "heated_s": round(now.heated_s + max(on_s, 0.0), 1),
        "most_s": 60.0 * numbers.session_most_minutes.value,
        "estimate_stale_s": numbers.estimate_stale_s.value,
        "session_s": session_s if math.isfinite(session_s) else None,
        "spots": [{"panel": spot.place.panel, "zone": spot.place.zone} for spot in now.open_spots],
        "raise_step_w": numbers.raise_step_w.value,
        "readings": {zone: level.value for zone, level in now.readings.items()},
    }


def entry(row: Row) -> dict[str, Any]:
    """One entry for the list."""
    event = row.content.get("event", {})
    return {
        "number": row.number,
        "id": row.id,
        "kind": row.kind,
        "at_s": event.get("at_s", row.content.get("at_s")),
        "words": said(row),
        "who": row.actor,
        "mark": row.content.get("clock", {}).get("mark", ""),
        "after_closing": bool(row.content.get("after_closing")),
        "of": event.get("of"),
        "event": event if row.event is not None else None,
    }


def _ms(moment: datetime) -> float:
    return round(moment.timestamp() * 1000.0, 1)
