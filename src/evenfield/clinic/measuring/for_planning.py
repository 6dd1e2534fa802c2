"""The newest complete set of a region as values for a case: what a plan is made from."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from evenfield.body import DIRECTIONS, RegionKind
from evenfield.clinic.measuring.change import error_of, newest_of_all, own_error
from evenfield.clinic.measuring.history import Measured, in_force
from evenfield.clinic.measuring.protocols import Quantity
from evenfield.clinic.people.models import Person

Four = dict[str, float]


@dataclass(frozen=True)
class RegionValues:
    """What was measured of a region, in a case file's units.

    Attributes:
        levels_mm: (n,) ascending; girth_mm: (n,) with their standard errors of measurement girth_sem_mm.
        fat_mm: (n,) tables of four directions, or one for all levels; None if never measured in all four.
        fat_sem_mm: the standard errors, alike.
        girths_at, fat_at: when; entries: numbers of the sets.
        notes: sentences a plan must show beside them.
    """

    region: RegionKind
    side: str
    levels_mm: tuple[float, ...]
    girth_mm: tuple[float, ...]
    girth_sem_mm: tuple[float, ...]
    fat_mm: tuple[Four, ...] | None
    fat_sem_mm: tuple[Four, ...] | None
    girths_at: datetime
    fat_at: datetime | None
    entries: tuple[int, ...]
    notes: tuple[str, ...]


def values_for_case(person: Person, region: RegionKind, side: str = "") -> RegionValues | None:
    """The newest complete girths, and the newest fat thickness in four directions; None without girths.

    Numbers withdrawn are left out; a set in which a girth was not measured is not complete.
    """
    numbers = [one for one in in_force(person) if one.region is region and one.side == side]
    girths = newest_girths(numbers, region, side)
    if not girths:
        return None
    rows = _newest_fat(numbers, tuple(one.level_mm or 0.0 for one in girths))
    fat = [one for row in rows for one in row]
    newest = newest_of_all()
    girth_sem = _errors(girths, newest)
    fat_sem = _errors(fat, newest)
    return RegionValues(
        region=region,
        side=side,
        levels_mm=tuple(one.level_mm or 0.0 for one in girths),
        girth_mm=tuple(_mm(one.value) for one in girths),
        girth_sem_mm=tuple(girth_sem),
        fat_mm=tuple({one.direction: _mm(one.value) for one in row} for row in rows) or None,
        fat_sem_mm=tuple(
            {one.direction: fat_sem[4 * index + place] for place, one in enumerate(row)}
            for index, row in enumerate(rows)
        )
        or None,
        girths_at=girths[0].at,
        fat_at=fat[0].at if fat else None,
        entries=tuple(sorted({one.entry for one in [*girths, *fat]})),
        notes=tuple(_notes(girths, rows)),
    )


def _notes(girths: Sequence[Measured], rows: Sequence[Sequence[Measured]]) -> Iterator[str]:
    """What a plan must say about these girths, and the fat of each level measured (`rows`)."""
    fat = [one for row in rows for one in row]
    for one in (*girths, *fat):
        if not one.agreed:
            yield f"{_words(one)}: the readings did not agree."
    if len(rows) == 1 and len(girths) > 1:
        yield "Fat was measured at one level and stands for all."
    if not rows:
        yield "Fat was not measured in four directions: the shipped mean stands in for it."
    elif rows[0][0].entry != girths[0].entry:
        yield "Fat was measured on another day than the girths."
    if fat and fat[0].protocol.conversion:
        yield f"Fat: {fat[0].protocol.name}, {fat[0].protocol.conversion}."


def newest_girths(numbers: Sequence[Measured], region: RegionKind, side: str) -> list[Measured]:
    """Girths of the newest set of a region that lacks none of those planned, by level; empty if none.

    `numbers` in force, newest set first.
    """
    numbers = [one for one in numbers if one.region is region and one.side == side]
    for entry in dict.fromkeys(one.entry for one in numbers if one.quantity is Quantity.GIRTH):
        girths = [one for one in numbers if one.entry == entry and one.quantity is Quantity.GIRTH]
        if all(one.complete for one in girths):
            return sorted(girths, key=lambda one: one.level_mm or 0.0)
    return []


def _newest_fat(numbers: Sequence[Measured], levels_mm: tuple[float, ...]) -> list[list[Measured]]:
    """Rows of four directions: one per girth level if all were measured together, else of one level."""
    for entry in dict.fromkeys(one.entry for one in numbers if one.quantity is Quantity.FAT):
        here = [one for one in numbers if one.entry == entry and one.quantity is Quantity.FAT]
        rows: dict[float, dict[str, Measured]] = {}
        for one in here:
            rows.setdefault(one.level_mm or 0.0, {})[one.direction] = one
        full = {level: row for level, row in rows.items() if set(row) == set(DIRECTIONS)}
        if set(levels_mm) <= set(full):
            return [[full[level][name] for name in DIRECTIONS] for level in levels_mm]
        if full:
            nearest = min(full, key=abs)
            return [[full[nearest][name] for name in DIRECTIONS]]
    return []


def _errors(numbers: Sequence[Measured], newest: Sequence[tuple[int, Measured]]) -> list[float]:
    own = own_error(numbers[0].protocol, newest) if numbers else None
    return [round(1e3 * error_of(one, own), 2) for one in numbers]


def _mm(value: float) -> float:
    return round(1e3 * value, 2)


def _words(one: Measured) -> str:
    return one.words("cm")
