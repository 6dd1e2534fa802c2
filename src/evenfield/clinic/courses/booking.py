"""When visits take place: a series with the usual spacing, and what speaks against a time.

Nothing here blocks: whoever books sees the warnings and may confirm them, and the visit keeps what kind they
were of. Days and opening hours are those of the clinic's time zone, which must be active.
"""

import hashlib
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.courses.models import COUNTED, BookingRules, Course, Visit, VisitState
from evenfield.clinic.devices.models import Device, TreatmentRoom
from evenfield.clinic.people.models import Person

_LONGEST = timedelta(minutes=480)


@dataclass(frozen=True)
class Slot:
    """A time that is asked for, and what it takes up."""

    start: datetime
    minutes: int
    room: TreatmentRoom | None = None
    device: Device | None = None
    staff: Account | None = None

    @property
    def end(self) -> datetime:
        """When all of it is free again."""
        return self.start + timedelta(minutes=self.minutes)

    @property
    def day(self) -> date:
        """The day at the clinic."""
        return timezone.localtime(self.start).date()


@dataclass(frozen=True)
class BookingWarning:
    """What speaks against one of the slots: its place among them, the kind in one word, a sentence."""

    slot: int
    kind: str
    words: str


def at_clinic(day: date, hour: time) -> datetime:
    """This hour on the clinic's clock; an hour that the clock skips becomes the one after the change."""
    wall = datetime.combine(day, hour, tzinfo=timezone.get_current_timezone())
    return timezone.localtime(wall.astimezone(UTC))


def series(first: datetime, count: int, spacing_days: int, rules: BookingRules) -> list[datetime]:
    """`count` starts, each `spacing_days` after the one before at the same hour of the clinic's clock.

    A day on which the clinic is closed gives way to the next open one. The first is taken as it is.
    """
    start = timezone.localtime(first)
    found = [start]
    while len(found) < count:
        found.append(shifted(found[-1], spacing_days, start.time(), rules))
    return found


def shifted(start: datetime, days: int, hour: time, rules: BookingRules) -> datetime:
    """This start `days` later (or earlier) at `hour` of the clinic's clock, on the next open day."""
    day = timezone.localtime(start).date() + timedelta(days=days)
    return at_clinic(_open_from(day, rules), hour)


def _open_from(day: date, rules: BookingRules) -> date:
    """This day or, if the clinic is closed on it, the next open one."""
    for later in range(7):
        if rules.open_on((day + timedelta(days=later)).weekday()):
            return day + timedelta(days=later)
    return day


def warnings(
    course: Course,
    slots: Sequence[Slot],
    rules: BookingRules,
    *,
    now: datetime,
    moving: Collection[Visit] = (),
) -> list[BookingWarning]:
    """What speaks against these slots for visits of this course, in their order.

    Args:
        course: the course, saved or not; its person, region and side count.
        slots: the times asked for.
        rules: the clinic's rules.
        now: the present time.
        moving: the visits that are being moved, which are not in their own way.
    """
    if not slots:
        return []
    people = {one.pk for one in whole_person(course)}
    others = _others(people, slots, rules, moving)
    found: list[BookingWarning] = []
    for place, slot in enumerate(slots):
        found += [BookingWarning(place, kind, words) for kind, words in _hours(slot, rules, now)]
        found += [BookingWarning(place, kind, words) for kind, words in _taken(people, slot, others)]
        found += [
            BookingWarning(place, "spacing", words) for words in _close(course, people, slot, others, rules)
        ]
    for place, (one, two) in enumerate(pairwise(slots)):
        if (days := (two.day - one.day).days) < rules.spacing_least_days:
            found.append(BookingWarning(place + 1, "spacing", _days(days, "after the one before", rules)))
    return found


def confirmation(found: Sequence[BookingWarning], slots: Sequence[Slot]) -> str:
    """What a confirmation refers to: other warnings or other times ask anew."""
    text = "\n".join([*(f"{one.slot} {one.words}" for one in found), *(str(slot.start) for slot in slots)])
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def kinds(found: Sequence[BookingWarning], place: int) -> str:
    """The kinds of warnings about one slot, to be kept with its visit."""
    return ", ".join(dict.fromkeys(one.kind for one in found if one.slot == place))


def whole_person(course: Course) -> list[Person]:
    """The kept record of whose course it is, and all records merged into it."""
    people: list[Person] = course.person.kept.one_person()
    return people


def _others(
    people: set[int], slots: Sequence[Slot], rules: BookingRules, moving: Collection[Visit]
) -> list[Visit]:
    """Every visit that could be in the way, in two queries: the person's own, and those at the same hours."""
    days = timedelta(days=rules.spacing_least_days + 1)
    first, last = min(slot.start for slot in slots), max(slot.end for slot in slots)
    own = Q(
        course__person__in=people,
        state__in=COUNTED,
        planned_start__gt=first - max(days, _LONGEST),
        planned_start__lt=last + days,
    )
    hours, taken = Q(), Q()
    for slot in slots:
        hours |= Q(planned_start__gt=slot.start - _LONGEST, planned_start__lt=slot.end)
    for name in ("room", "device", "staff"):
        if wanted := {getattr(slot, name) for slot in slots} - {None}:
            taken |= Q(**{f"{name}__in": wanted})
    every = Visit.objects.exclude(pk__in=[visit.pk for visit in moving]).select_related(
        "course__person", "room", "device", "staff"
    )
    found = {visit.pk: visit for visit in every.filter(own)}
    if taken:
        there = every.filter(hours, taken, state__in=(VisitState.PLANNED, VisitState.RUNNING))
        found |= {visit.pk: visit for visit in there}
    return sorted(found.values(), key=lambda visit: visit.planned_start)


def _hours(slot: Slot, rules: BookingRules, now: datetime) -> Iterator[tuple[str, str]]:
    if slot.start < now:
        yield "past", "This time is past."
    start, end = timezone.localtime(slot.start), timezone.localtime(slot.end)
    if not rules.open_on(start.weekday()):
        yield "hours", f"The clinic is closed on {start:%A}s."
    elif start.time() < rules.opens or end.date() > start.date() or end.time() > rules.closes:
        yield "hours", f"Outside the opening hours, {rules.opens:%H:%M} to {rules.closes:%H:%M}."


def _taken(people: set[int], slot: Slot, others: Sequence[Visit]) -> Iterator[tuple[str, str]]:
    for other in others:
        if other.state not in (VisitState.PLANNED, VisitState.RUNNING):
            continue
        if not (other.planned_start < slot.end and slot.start < other.planned_end):
            continue
        span = f"{_hour(other.planned_start)} to {_hour(other.planned_end)}"
        if other.course.person_id in people:
            yield "person", f"The client has another visit then ({other.course.region_words}, {span})."
        for kind in ("room", "device", "staff"):
            mine = getattr(slot, kind)
            if mine is not None and mine == getattr(other, kind):
                words = "has another visit then" if kind == "staff" else "is taken then"
                yield kind, f"{mine} {words}: {other.person.shown_code}, {span}."


def _close(
    course: Course, people: set[int], slot: Slot, others: Sequence[Visit], rules: BookingRules
) -> Iterator[str]:
    for other in others:
        if other.course.person_id not in people or not _same_place(course, other.course):
            continue
        day = timezone.localtime(other.planned_start).date()
        days = (slot.day - day).days
        if abs(days) < rules.spacing_least_days:
            side = "after" if days >= 0 else "before"
            yield _days(abs(days), f"{side} the visit of {date_format(day)} to the same region", rules)


def _same_place(one: Course, two: Course) -> bool:
    """The same region, on the same side or where one of the courses names none."""
    return one.region == two.region and (one.side == two.side or not one.side or not two.side)


def _days(days: int, words: str, rules: BookingRules) -> str:
    number = f"Only {days} day{'' if days == 1 else 's'}" if days else "The same day or less"
    return f"{number} {words}; the least here is {rules.spacing_least_days}."


def _hour(at: datetime) -> str:
    return date_format(timezone.localtime(at), "TIME_FORMAT")
