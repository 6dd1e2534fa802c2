"""A visit as its entries make it: what was entered, the state, the advice. Nothing of it is kept but entries.

The entries read once are held in memory as a copy (they never change); after a restart they are read again.
"""

import threading
from collections import OrderedDict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.courses.visits import VisitError, begin_visit
from evenfield.clinic.own_files import profile_text
from evenfield.clinic.screening.standing import standing
from evenfield.clinic.setup_check.runs import present_run
from evenfield.clinic.visits.doubts import doubts_before
from evenfield.clinic.visits.models import Kind, VisitEntry
from evenfield.clinic.visits.plans import LivePlan, plan_of
from evenfield.clinic.visits.profiles import manual_limits, profile_of
from evenfield.conduct import Advice, Event, PracticeProfile, advise, event_from_mapping
from evenfield.conduct.estimate import Estimate
from evenfield.conduct.events import Planned, event_to_mapping
from evenfield.conduct.screening import Outcome

_COPIES = 100


@dataclass(frozen=True)
class Row:
    """One entry as read: its place in the chain, when the server kept it, by whom, and what it says."""

    number: int
    id: str
    kind: str
    at: datetime
    actor: str
    content: dict[str, Any]
    event: Event | None


@dataclass
class _Copy:
    rows: list[Row] = field(default_factory=list)
    profile: PracticeProfile | None = None


_copies: OrderedDict[tuple[int, datetime | None], _Copy] = OrderedDict()
_lock = threading.Lock()


def rows_of(visit: Visit, newest: int | None = None) -> tuple[Row, ...]:
    """All entries of a visit since it was last begun, in the order in which they were kept; `newest` is the
    number of the last one where it is known, which saves asking."""
    with _lock:
        key = visit.pk, visit.started_at
        copy = _copies.setdefault(key, _Copy())
        _copies.move_to_end(key)
        while len(_copies) > _COPIES:
            _copies.popitem(last=False)
        last = copy.rows[-1].number if copy.rows else 0
        known = len(copy.rows)
        if newest is not None and newest == last:
            return _since_begun(copy.rows)
    newer = VisitEntry.objects.filter(visit_id=visit.pk, number__gt=last, kept__isnull=False)
    found = [_row(entry) for entry in newer.select_related("kept").order_by("number")]
    with _lock:
        if len(copy.rows) == known:
            copy.rows.extend(found)
        return _since_begun(copy.rows)


def read_newer(visits: Sequence[Visit]) -> dict[int, int]:
    """Bring the copies of several visits up to date with two questions, however many there are.

    Returns the number of the last entry of each, for `running`.
    """
    entries: Any = VisitEntry.objects.filter(visit_id__in=[visit.pk for visit in visits])
    newest = dict(entries.values_list("visit_id").annotate(newest=Max("number")))
    with _lock:
        copies = {visit.pk: _copies.setdefault((visit.pk, visit.started_at), _Copy()) for visit in visits}
        last = {number: copy.rows[-1].number if copy.rows else 0 for number, copy in copies.items()}
    stale = [number for number in copies if newest.get(number, 0) != last[number]]
    if stale:
        newer = entries.filter(visit_id__in=stale, number__gt=min(last[one] for one in stale))
        found: dict[int, list[Row]] = {number: [] for number in stale}
        for entry in newer.filter(kept__isnull=False).select_related("kept").order_by("number"):
            if entry.number > last[entry.visit_id]:
                found[entry.visit_id].append(_row(entry))
        with _lock:
            for number, rows in found.items():
                held = copies[number].rows
                if (held[-1].number if held else 0) == last[number]:
                    held.extend(rows)
    return {visit.pk: newest.get(visit.pk, 0) for visit in visits}


def read_rows(visits: Iterable[Visit]) -> dict[int, tuple[Row, ...]]:
    """The same of several visits by the visit's number, in one question and past the copies."""
    found: dict[int, list[Row]] = {visit.pk: [] for visit in visits}
    entries = VisitEntry.objects.filter(visit_id__in=found, kept__isnull=False)
    for entry in entries.select_related("kept").order_by("number"):
        found[entry.visit_id].append(_row(entry))
    return {number: _since_begun(rows) for number, rows in found.items()}


def _since_begun(rows: Sequence[Row]) -> tuple[Row, ...]:
    """What counts: a beginning that was taken back, and what was entered after it, counts no more."""
    last = max((place for place, row in enumerate(rows) if row.kind == Kind.BEGIN), default=0)
    return tuple(rows[last:])


def forget(visits: list[int]) -> None:
    """Drop the copies of these visits, whose content was erased."""
    with _lock:
        for key in [key for key in _copies if key[0] in visits]:
            del _copies[key]


def _row(entry: VisitEntry) -> Row:
    content = entry.content
    event = event_from_mapping(content["event"]) if "event" in content else None
    return Row(entry.number, entry.entry_id, entry.kind, entry.at, entry.actor, content, event)


@dataclass(frozen=True)
class Missing:
    """One thing that keeps a visit from beginning: what, and what to do."""

    name: str
    words: str
    route: str


def missing_before(visit: Visit) -> list[Missing]:
    """What screening, consent and set-up still lack for this visit, should it begin now."""
    found = []
    person = visit.person.kept
    now = standing(person)
    if not now.asked_anew:
        words = "not asked anew since the last visit began" if now.asked_today else "not asked today"
        found.append(Missing("Screening", words, "screening"))
    elif now.outcome is not Outcome.GO_ON:
        found.append(Missing("Screening", "the answers hold the visit back", "screening"))
    if now.consent is None:
        words = "signed under an earlier text" if now.earlier_consent else "not signed"
        found.append(Missing("Consent", words, "screening"))
    if not now.may_go_on and not found:
        found.append(Missing("Screening", "does not allow the visit", "screening"))
    run = present_run(person)
    if run is None:
        found.append(Missing("Set-up", "not gone through today for this visit", "setup-check"))
    elif not run.is_for(visit):
        words = f"gone through for {run.region}, not for {visit.course.region_words}"
        found.append(Missing("Set-up", words, "setup-check"))
    elif run.ready().open:
        found.append(Missing("Set-up", f"{len(run.ready().open)} lines open", "setup-check"))
    return found


def begin(visit: Visit, confirmed: Collection[str] = (), reason: str = "") -> Visit:
    """Begin a visit: its clock starts, and profile and plan in force are kept with it.

    `confirmed` are the doubts (`doubts_before`) in spite of which it is to begin, and `reason` says why.
    Raises VisitError with one sentence where something is missing, a doubt is not confirmed, the visit is not
    planned or another one of the same person runs.
    """
    with transaction.atomic():
        lacking = missing_before(visit)
        if lacking:
            said = "; ".join(f"{one.name.lower()}: {one.words}" for one in lacking)
            raise VisitError(f"The visit cannot begin. Missing: {said}.")
        doubts = doubts_before(visit)
        if not set(doubts) <= set(confirmed) or (doubts and not reason.strip()):
            raise VisitError(f"The visit has not begun. {' '.join(doubts)} Tick that you know, and say why.")
        running = begin_visit(visit, timezone.now(), reason if doubts else "")
        keep_beginning(running, doubts, reason)
    return running


def keep_beginning(visit: Visit, doubts: Sequence[str] = (), reason: str = "") -> None:
    """Keep with a visit's beginning the plan and profile now in force: they hold for it to its end; and the
    doubts in spite of which it began, with the reason."""
    region = visit.course.region_kind
    text, plan, limits = profile_text(), plan_of(visit.plan, region), manual_limits(visit.device)
    profile = profile_of(text, limits)
    earlier = VisitEntry.objects.filter(visit_id=visit.pk, kind=Kind.BEGIN).count()
    planned = Planned(
        id=f"begin-{visit.pk}-{earlier + 1}" if earlier else f"begin-{visit.pk}",
        at_s=0.0,
        received_s=0.0,
        region=region.value,
        planned_minutes=plan.minutes,
        starting_power_w=plan.starting_power_w,
        band_c=plan.band_c,
        gaps_mm=tuple((panel["name"], panel["gap_mm"]) for panel in plan.panels),
    )
    content = {
        "event": event_to_mapping(planned),
        "profile": {"name": profile.name, "version": profile.version, "text": text, "limits": limits},
        "case": plan.case_text,
    }
    content |= {"despite": list(doubts), "reason": reason.strip()} if doubts else {}
    VisitEntry.of(visit, Kind.BEGIN, planned.id, content)


@dataclass(frozen=True)
class Running:
    """A visit at a moment, `now_s` from its stored start; after its end that moment is its end."""

    visit: Visit
    rows: tuple[Row, ...]
    profile: PracticeProfile
    plan: LivePlan
    now_s: float

    @property
    def events(self) -> list[Event]:
        """What conduct and the estimate are told."""
        return [row.event for row in self.rows if row.event is not None]

    def advice(self, estimate: Estimate | None) -> Advice:
        """State and prompts."""
        return advise(self.events, self.profile, estimate, self.now_s)

    def of_kind(self, kind: Kind) -> list[Row]:
        """Entries of a kind that conduct does not know."""
        return [row for row in self.rows if row.kind == kind]


def slim(number: int) -> tuple[Visit, int]:
    """A visit with its state and times only, and the number of its last entry, in one light question: what
    every room asks every second. Raises Visit.DoesNotExist, also for someone erased."""
    found = (
        Visit.objects.filter(pk=number, course__person__erased__isnull=True)
        .annotate(newest=Max("entries__number"))
        .values_list("state", "started_at", "ended_at", "newest")
        .first()
    )
    if found is None:
        raise Visit.DoesNotExist
    state, started_at, ended_at, newest = found
    return Visit(pk=number, state=state, started_at=started_at, ended_at=ended_at), newest or 0


def running(visit: Visit, moment: datetime | None = None, newest: int | None = None) -> Running:
    """A visit that was begun, as its entries make it now, or at its end. Raises VisitError otherwise."""
    if visit.started_at is None or visit.state not in (VisitState.RUNNING, VisitState.DONE):
        raise VisitError(f"A visit that is {VisitState(visit.state).label} has no clock.")
    rows = rows_of(visit, newest)
    until = visit.ended_at if visit.state == VisitState.DONE and visit.ended_at else timezone.now()
    now_s = ((moment or until) - visit.started_at).total_seconds()
    begun = next((row for row in rows if row.kind == Kind.BEGIN), None)
    said = begun.content if begun else {}
    region = said["event"]["region"] if begun else visit.course.region
    return Running(visit, rows, _profile(visit, said.get("profile", {})), plan_of(said, region), now_s)


def _profile(visit: Visit, kept: dict[str, Any]) -> PracticeProfile:
    """The profile kept with the visit, read once."""
    copy = _copies.get((visit.pk, visit.started_at))
    if copy is None or copy.profile is None:
        found = profile_of(kept.get("text", ""), kept.get("limits", {}))
        if copy is None or not kept:
            return found
        copy.profile = found
    return copy.profile
