"""What a calendar shows: the visits of a day side by side, or of a week day by day."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from django.db.models import QuerySet
from django.utils import timezone

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.courses.booking import at_clinic
from evenfield.clinic.courses.models import COUNTED, BookingRules, Visit

STEP_MINUTES = 15
_LEAST_STEPS = 3  # so that a short visit is still large enough to touch
_MOST_COLUMNS = 12  # as many as the style sheet knows
MOST_OF_A_DAY = 40  # visits that a week shows of one day; the day itself shows all
WAYS = ("room", "device", "staff")
# Long texts that no calendar shows; read for hundreds of visits they would take most of the time.
_NOT_SHOWN = ("plan", "course__aim", "course__protocol_note", "course__person__note")


@dataclass(frozen=True)
class Placed:
    """A visit in a day's grid: column and row (from 1), and how many rows it takes."""

    visit: Visit
    column: int
    row: int
    rows: int


@dataclass(frozen=True)
class Heading:
    """A heading over one or more columns."""

    words: str
    column: int
    columns: int


@dataclass(frozen=True)
class DayGrid:
    """A day: headings, the full hours with their rows, and the visits in order of time.

    `columns` is 0 where there is too much side by side to show as a grid; then there is only the list.
    """

    day: date
    headings: tuple[Heading, ...]
    hours: tuple[tuple[str, int], ...]
    placed: tuple[Placed, ...]
    columns: int


@dataclass(frozen=True)
class WeekDay:
    """One day of a week with its first visits in order of time, and how many more there are."""

    day: date
    visits: tuple[Visit, ...]
    more: int
    is_open: bool


def visits_between(first: date, last: date, staff: Account | None = None) -> list[Visit]:
    """Visits that take up time and begin on these days of the clinic's calendar, both included.

    Only those of one member of staff if one is given.
    """
    return list(shown(counted_between(first, last, staff)))


def counted_between(first: date, last: date, staff: Account | None = None) -> QuerySet[Visit]:
    """The same, to be asked in another way."""
    found = Visit.objects.filter(
        state__in=COUNTED,
        planned_start__gte=at_clinic(first, time(0)),
        planned_start__lt=at_clinic(last + timedelta(days=1), time(0)),
    )
    return found if staff is None else found.filter(staff=staff)


def shown(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    """With all that a calendar shows of them; rooms, devices and staff are few, so each is read once."""
    found = visits.select_related("course__person").prefetch_related("room", "device", "staff")
    return found.defer(*_NOT_SHOWN).order_by("planned_start", "pk")


def week_of(day: date) -> date:
    """The Monday of this day's week."""
    return day - timedelta(days=day.weekday())


def week(monday: date, rules: BookingRules) -> list[WeekDay]:
    """The open days of a week, and closed ones with visits; of each day the first `MOST_OF_A_DAY` visits."""
    times = counted_between(monday, monday + timedelta(days=6)).order_by("planned_start", "pk")
    numbers: dict[date, list[int]] = {}
    for number, start in times.values_list("pk", "planned_start"):
        numbers.setdefault(timezone.localtime(start).date(), []).append(number)
    wanted = [number for held in numbers.values() for number in held[:MOST_OF_A_DAY]]
    visits = {visit.pk: visit for visit in shown(Visit.objects.filter(pk__in=wanted))}
    found = []
    for day in (monday + timedelta(days=place) for place in range(7)):
        held = numbers.get(day, [])
        first = tuple(visits[number] for number in held[:MOST_OF_A_DAY] if number in visits)
        if held or rules.open_on(day.weekday()):
            found.append(WeekDay(day, first, len(held) - len(first), rules.open_on(day.weekday())))
    return found


def day_grid(visits: Sequence[Visit], day: date, way: str, rules: BookingRules) -> DayGrid:
    """The visits of a day, with a column for each room (or device, or member of staff).

    Visits of one column that overlap stand side by side. Rows are quarters of an hour of elapsed time, so a
    day on which the clock changes has its hours where they are.
    """
    begin, end = _span(visits, day, rules)
    rows = {visit.pk: _rows(visit, begin) for visit in visits}
    headings: list[Heading] = []
    placed: list[Placed] = []
    column = 1
    for words, mine in _grouped(visits, way):
        lanes = _lanes(mine, rows)
        width = max(lanes.values()) + 1
        headings.append(Heading(words, column, width))
        placed += [Placed(visit, column + lanes[visit.pk], *rows[visit.pk]) for visit in mine]
        column += width
    columns = column - 1
    return DayGrid(
        day,
        tuple(headings),
        tuple(_hours(begin, end)),
        tuple(sorted(placed, key=lambda one: (one.visit.planned_start, one.column))),
        columns if columns <= _MOST_COLUMNS else 0,
    )


def _span(visits: Sequence[Visit], day: date, rules: BookingRules) -> tuple[datetime, datetime]:
    """From the full hour at which the clinic opens or the first visit begins, to the last end that day."""
    midnight = at_clinic(day + timedelta(days=1), time(0))
    begin = min([at_clinic(day, rules.opens), *(visit.planned_start for visit in visits)])
    end = max([at_clinic(day, rules.closes), *(visit.planned_end for visit in visits)])
    start = timezone.localtime(begin).replace(minute=0, second=0, microsecond=0)
    return start.astimezone(UTC), min(end, midnight).astimezone(UTC)


def _rows(visit: Visit, begin: datetime) -> tuple[int, int]:
    step = timedelta(minutes=STEP_MINUTES)
    first = (visit.planned_start - begin) // step
    last = -((begin - visit.planned_end) // step)
    return first + 1, max(_LEAST_STEPS, last - first)


def _hours(begin: datetime, end: datetime) -> Iterable[tuple[str, int]]:
    at, row = begin, 1
    while at < end:
        yield f"{timezone.localtime(at):%H:%M}", row
        at, row = at + timedelta(hours=1), row + 60 // STEP_MINUTES


def _grouped(visits: Sequence[Visit], way: str) -> list[tuple[str, list[Visit]]]:
    """Visits by the name of their room, device or member of staff; those without one last."""
    groups: dict[str, list[Visit]] = {}
    for visit in visits:
        held = getattr(visit, way)
        groups.setdefault(str(held) if held is not None else "", []).append(visit)
    named = sorted((words, group) for words, group in groups.items() if words)
    return named + ([("not decided", groups[""])] if "" in groups else [])


def _lanes(visits: Sequence[Visit], rows: dict[int, tuple[int, int]]) -> dict[int, int]:
    """For each visit the first lane that is free when it begins."""
    free_from: list[int] = []
    lanes: dict[int, int] = {}
    for visit in visits:
        row, count = rows[visit.pk]
        lane = next((place for place, free in enumerate(free_from) if free <= row), len(free_from))
        free_from[lane : lane + 1] = [row + count]
        lanes[visit.pk] = lane
    return lanes
