"""From (events, estimate, now) to prompts that do not contradict each other and do not nag.

Pure: no clock, no memory. Each proposal has an id made of its rule and the event it answers to. One answered
"done" never comes back under that id; "not now" hides it for the profile's time. A proposal that is hidden
while its reason stands still keeps every heat-adding prompt away.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from evenfield.conduct.actions import ADDS_HEAT, TASKS, Action, contradict
from evenfield.conduct.estimate import Estimate
from evenfield.conduct.events import Answer, Event
from evenfield.conduct.fold import fold
from evenfield.conduct.profile import PracticeProfile, RuleText, Urgency
from evenfield.conduct.rules import MISSING, RULES, Proposal, Rule, Scene
from evenfield.conduct.state import Phase, Place, Reply, State
from evenfield.conduct.timeline import standing

_URGENCY_ORDER = {urgency: place for place, urgency in enumerate(Urgency)}


@dataclass(frozen=True)
class Prompt:
    """One piece of advice: what, why, how urgent, from which rule and source.

    ``id`` is the rule's id and the id of the event it answers to. ``since_s`` is when it came up, ``due_s``
    what its countdown runs to (seconds from the visit's origin). ``entry`` is the kind of event whose entry
    answers it, if one does; ``place`` where it is about; ``suggested`` the number it names to be entered (W
    of power, mm of a move).
    """

    id: str
    rule: str
    urgency: Urgency
    action: Action
    what: str
    why: str
    source: str
    label: str
    since_s: float
    due_s: float
    entry: str | None
    place: Place | None
    suggested: float | None = None


@dataclass(frozen=True)
class Coming:
    """A check that is not due yet: which rule, what it will ask, and when (s from the visit's origin)."""

    rule: str
    what: str
    due_s: float


@dataclass(frozen=True)
class Advice:
    """Everything conduct has to say at ``now_s``.

    ``prompts`` in the order to show them, ``coming`` by time. ``next_change_s`` is the next moment at which
    prompts or checks can change without a new event or estimate; inf if there is none. ``estimate_used`` is
    False where no estimate was given or the given one was stale.
    """

    now_s: float
    phase: Phase
    prompts: tuple[Prompt, ...]
    coming: tuple[Coming, ...]
    next_change_s: float
    estimate_used: bool
    state: State


@dataclass(frozen=True)
class _Claim:
    rule: Rule
    text: RuleText
    proposal: Proposal
    reply: Reply | None

    @property
    def id(self) -> str:
        return f"{self.rule.id}:{self.proposal.trigger}"

    @property
    def done(self) -> bool:
        return self.reply is not None and self.reply.answer is Answer.DONE

    @property
    def order(self) -> tuple[int, int, str]:
        return _URGENCY_ORDER[self.text.urgency], self.text.rank, self.id

    def hidden_until_s(self, profile: PracticeProfile) -> float:
        """Until when an answer or a quiet time hides it."""
        until_s = self.proposal.quiet_until_s
        if self.done:
            return math.inf
        if self.reply is not None:
            urgent = self.text.urgency is Urgency.NOW
            wait = profile.numbers.not_now_urgent_s if urgent else profile.numbers.not_now_s
            until_s = max(until_s, self.reply.at_s + wait.value)
        return until_s


def advise(
    events: Iterable[Event], profile: PracticeProfile, estimate: Estimate | None, now_s: float
) -> Advice:
    """The state and prompts at ``now_s`` (seconds from the visit's origin).

    ``events`` may come in any order, with copies and corrections; those not known at ``now_s`` are left out.
    An estimate dated later is left out. From one older than the profile's ``estimate_stale_s`` only warnings
    are taken, and no leave to add heat.
    """
    return advise_state(fold(standing(events, now_s), profile), profile, estimate, now_s)


def advise_state(state: State, profile: PracticeProfile, estimate: Estimate | None, now_s: float) -> Advice:
    """As `advise`, from a state folded before.

    A state stands until another event is known, so that a live page need not fold at every update.
    """
    if not math.isfinite(now_s):
        raise ValueError(f"now_s is {now_s}: give a finite number of seconds from the visit's origin")
    stale_s = math.inf if estimate is None else estimate.at_s + profile.numbers.estimate_stale_s.value
    fresh = estimate if estimate is not None and estimate.at_s <= now_s < stale_s else None
    stale = estimate if now_s >= stale_s else None
    replies = _last_replies(state.replies)
    claims = _claims(Scene(state, profile, fresh, stale), replies)
    claims += _missing(claims, profile, replies, now_s)

    live = [claim for claim in claims if claim.proposal.show_s <= now_s < claim.proposal.until_s]
    hidden = [claim for claim in live if claim.hidden_until_s(profile) > now_s]
    visible = [claim for claim in live if claim.hidden_until_s(profile) <= now_s]
    shown = _without_conflict(visible, hidden)
    coming = [
        claim
        for claim in claims
        if claim.proposal.show_s > now_s and not claim.done and not _kept_away(claim, shown, hidden)
    ]
    moments = [stale_s] if fresh is not None else []
    for claim in claims:
        p = claim.proposal
        moments += [p.show_s, p.until_s, claim.hidden_until_s(profile)]
    return Advice(
        now_s=now_s,
        phase=state.phase(profile.numbers.tuning_least_percent.value),
        prompts=tuple(_prompt(claim, profile) for claim in sorted(shown, key=lambda c: c.order)),
        coming=tuple(
            Coming(claim.rule.id, _fill(claim.text.what, claim.proposal, profile), claim.proposal.show_s)
            for claim in sorted(coming, key=lambda c: (c.proposal.show_s, c.order))
        ),
        next_change_s=min((moment for moment in moments if moment > now_s), default=math.inf),
        estimate_used=fresh is not None,
        state=state,
    )


def prompts(
    events: Iterable[Event], profile: PracticeProfile, estimate: Estimate | None, now_s: float
) -> tuple[Prompt, ...]:
    """Only the prompts of `advise`."""
    return advise(events, profile, estimate, now_s).prompts


def _claims(scene: Scene, replies: Mapping[str, Reply]) -> list[_Claim]:
    claims: list[_Claim] = []
    for rule in RULES:
        text = scene.profile.rule[rule.id]
        if text.enabled:
            claims += [
                _Claim(rule, text, proposal, replies.get(f"{rule.id}:{proposal.trigger}"))
                for proposal in rule.propose(scene)
            ]
    return claims


def _last_replies(replies: Iterable[Reply]) -> dict[str, Reply]:
    """The reply that counts for each prompt: "done" once given stays, else the last "not now"."""
    counts: dict[str, Reply] = {}
    for reply in replies:
        held = counts.get(reply.prompt)
        if held is None or held.answer is not Answer.DONE:
            counts[reply.prompt] = reply
    return counts


def _missing(
    claims: Iterable[_Claim], profile: PracticeProfile, replies: Mapping[str, Reply], now_s: float
) -> list[_Claim]:
    """Answered "done", yet its reason stands because the entry that would show it is not there."""
    text = profile.rule[MISSING]
    if not text.enabled:
        return []
    rule = next(rule for rule in RULES if rule.id == MISSING)
    found: list[_Claim] = []
    for claim in claims:
        if claim.reply is not None and claim.done and _needs_entry(claim, now_s):
            proposal = Proposal(
                claim.reply.id,
                claim.reply.at_s + profile.numbers.after_check_s.value,
                place=claim.proposal.place,
                values={"asked": claim.rule.action.value},
            )
            found.append(_Claim(rule, text, proposal, replies.get(f"{MISSING}:{proposal.trigger}")))
    return found


def _needs_entry(claim: _Claim, now_s: float) -> bool:
    p = claim.proposal
    return claim.rule.entry is not None and claim.rule.action not in TASKS and p.show_s <= now_s < p.until_s


def _without_conflict(visible: list[_Claim], hidden: list[_Claim]) -> list[_Claim]:
    """The visible claims less those that lose a conflict.

    Heat-adding ones are considered last, so none of them ever displaces another kind. Among the rest the
    more urgent, then the lower rank, wins.
    """
    kept: list[_Claim] = []
    for claim in sorted(visible, key=lambda c: (c.rule.action in ADDS_HEAT, c.order)):
        if not _kept_away(claim, kept, hidden):
            kept.append(claim)
    return kept


def _kept_away(claim: _Claim, kept: list[_Claim], hidden: list[_Claim]) -> bool:
    action = claim.rule.action
    if any(contradict(action, other.rule.action) for other in kept):
        return True
    return action in ADDS_HEAT and any(
        contradict(action, other.rule.action) for other in hidden if other.rule.action not in ADDS_HEAT
    )


def _fill(words: str, proposal: Proposal, profile: PracticeProfile) -> str:
    return words.format_map({**profile.number_words, **proposal.values})


def _prompt(claim: _Claim, profile: PracticeProfile) -> Prompt:
    p = claim.proposal
    return Prompt(
        id=claim.id,
        rule=claim.rule.id,
        urgency=claim.text.urgency,
        action=claim.rule.action,
        what=_fill(claim.text.what, p, profile),
        why=_fill(claim.text.why, p, profile),
        source=claim.text.source,
        label=claim.text.label,
        since_s=p.show_s,
        due_s=p.show_s if p.due_s is None else p.due_s,
        entry=claim.rule.entry,
        place=p.place,
        suggested=p.suggested,
    )


def prompt_to_mapping(prompt: Prompt) -> dict[str, Any]:
    """A plain mapping of a prompt, ready for JSON."""
    place = prompt.place
    return {
        "id": prompt.id,
        "rule": prompt.rule,
        "urgency": prompt.urgency.value,
        "action": prompt.action.value,
        "what": prompt.what,
        "why": prompt.why,
        "source": prompt.source,
        "label": prompt.label,
        "since_s": round(float(prompt.since_s), 3),
        "due_s": round(float(prompt.due_s), 3),
        "entry": prompt.entry,
        "suggested": prompt.suggested,
        "place": None
        if place is None
        else {"panel": place.panel, "side": place.side and place.side.value, "zone": place.zone},
    }
