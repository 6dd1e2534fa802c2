"""From the events a record holds, in any order and with copies, to the ones that count at a moment."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from evenfield.conduct.events import Correction, Event, Fact, event_to_mapping


def _canonical(event: Event) -> str:
    """Content as text: whole numbers and the same numbers as floats, which are equal, give the same."""
    return json.dumps(json.loads(json.dumps(event_to_mapping(event)), parse_int=float), sort_keys=True)


def once_each(events: Iterable[Event]) -> list[Event]:
    """One event per id, in order of (time, id).

    Copies under one id count once. Should two different events claim one id (a fault of the writer), the one
    known first stands, and among equals the first by content, whatever order they arrived in.
    """
    chosen: dict[str, Event] = {}
    for event in events:
        held = chosen.get(event.id)
        if held is None:
            chosen[event.id] = event
        elif held != event:
            chosen[event.id] = min(held, event, key=lambda e: (e.known_s, e.at_s, _canonical(e)))
    return sorted(chosen.values(), key=lambda e: (e.when_s, e.id))


def _root(of: str, corrections: dict[str, Correction]) -> str | None:
    seen: set[str] = set()
    while of in corrections:
        if of in seen:
            return None
        seen.add(of)
        of = corrections[of].of
    return of


def standing(events: Iterable[Event], now_s: float) -> list[Fact]:
    """The events known at ``now_s`` with corrections carried out, in order of (time, id).

    The last correction of an event stands. A correction that takes back another one restores what that one
    had changed. A correction of an event that is not there (yet) does nothing.
    """
    known = [event for event in once_each(events) if event.known_s <= now_s]
    corrections = {event.id: event for event in known if isinstance(event, Correction)}
    undone: set[str] = set()
    instead: dict[str, Fact | None] = {}
    for correction in sorted(corrections.values(), key=lambda c: (c.when_s, c.id), reverse=True):
        if correction.id in undone:
            continue
        if correction.of in corrections:
            undone.add(correction.of)
            if correction.replacement is None:
                continue
        root = _root(correction.of, corrections)
        if root is not None and root not in instead:
            instead[root] = _put(correction.replacement, root, correction.when_s)
    facts: list[Fact] = []
    for event in known:
        if isinstance(event, Correction):
            continue
        fact = instead.get(event.id, event)
        if fact is not None:
            facts.append(fact)
    return sorted(facts, key=lambda e: (e.when_s, e.id))


def _put(fact: Fact | None, event_id: str, latest_s: float) -> Fact | None:
    """The replacement under the corrected event's id, dated no later than the correction."""
    if fact is None:
        return None
    changed: dict[str, Any] = {"id": event_id, "at_s": min(fact.at_s, latest_s), "received_s": None}
    return replace(fact, **changed)
