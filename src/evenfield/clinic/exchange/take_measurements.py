"""Measurements from a file: each with its protocol, unit and place, questioned like one that is typed in.

One row is one number with its readings. Rows of one person, time, region and side make one set. People are
named by code, or by both names and date of birth if that leads to one record.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Any

from django.utils import timezone

from evenfield.body import DIRECTIONS, RegionKind
from evenfield.clinic.exchange.csv_text import read_table
from evenfield.clinic.exchange.taking_in import (
    FileRow,
    Preview,
    about_file,
    read_day,
    read_moment,
    uneven_rows,
)
from evenfield.clinic.measuring.agreement import Settled, settle
from evenfield.clinic.measuring.history import Measured, in_force
from evenfield.clinic.measuring.known import known_of
from evenfield.clinic.measuring.plan import TRUNK_DIRECTIONS, EntryLine, PlanError, SetPlan, read_plan
from evenfield.clinic.measuring.protocols import Protocols, Quantity, present_protocols
from evenfield.clinic.measuring.recording import keep_set, number_content
from evenfield.clinic.measuring.slips import question
from evenfield.clinic.measuring.units import CM, INCH, KG, MM, POUND, TypedError, TypedUnit
from evenfield.clinic.people.codes import read_code
from evenfield.clinic.people.models import Person

READINGS = tuple(f"reading_{place}" for place in range(1, 7))
COLUMNS = (
    "code", "given_name", "family_name", "born", "measured_at", "quantity", "region", "side", "level_mm",
    "direction", "protocol", *READINGS, "unit", "state",
)  # fmt: skip
KNOWN = {name.replace("_", " "): name for name in COLUMNS} | {
    "date": "measured_at",
    "date of birth": "born",
    "first name": "given_name",
    "last name": "family_name",
    "level": "level_mm",
    "reading": "reading_1",
    **{name.replace("_", " "): "" for name in ("protocol_version", "value", "how", "agreed", "measured_by")},
}
_UNITS: dict[Quantity, dict[str, TypedUnit]] = {
    Quantity.GIRTH: {"cm": CM, "mm": MM, "in": INCH},
    Quantity.FAT: {"mm": MM, "cm": CM},
    Quantity.WEIGHT: {"kg": KG, "lb": POUND},
}
_TRUNK = {there: here for here, there in TRUNK_DIRECTIONS.items()}
_SURE = "looked at when the file was taken in"


@dataclass(frozen=True)
class _Number:
    """One row as understood."""

    row: FileRow
    person: Person
    at: datetime
    asked: tuple[tuple[str, str], ...]  # region, side and protocols, as an address would ask for them
    quantity: Quantity
    level_mm: float | None
    direction: str
    typed: tuple[str, ...]
    unit: TypedUnit

    @property
    def set_key(self) -> tuple[object, ...]:
        """What numbers of one set share."""
        place = tuple(part for part in self.asked if part[0] in ("region", "side"))
        return (self.person.pk, self.at, place if self.quantity is not Quantity.WEIGHT else ())

    @property
    def key(self) -> str:
        """Its key within the set."""
        if self.quantity is Quantity.WEIGHT:
            return "weight"
        level = f"{self.level_mm:g}"
        return f"girth_{level}" if self.quantity is Quantity.GIRTH else f"fat_{level}_{self.direction}"


def preview(content: bytes, *, month_first: bool) -> Preview:
    """Every row with what speaks against it. Raises CsvError, or ProtocolError for the clinic's own file."""
    protocols = present_protocols()
    table = read_table(content, {name: here for name, here in KNOWN.items() if here})
    rows = [FileRow(line, dict(cells)) for line, cells in table.rows]
    uneven_rows(table, rows)
    people = _People(month_first=month_first)
    numbers = [
        number for row in rows if (number := _understood(row, people, protocols, month_first)) is not None
    ]
    gathered: dict[tuple[object, ...], list[_Number]] = {}
    for number in numbers:
        gathered.setdefault(number.set_key, []).append(number)
    writes = [write for one in gathered.values() if (write := _set(one, people, protocols)) is not None]
    silent = {name for name, here in KNOWN.items() if not here}
    shown = replace(
        table, ignored=tuple(name for name in table.ignored if name.lower().replace("_", " ") not in silent)
    )
    sets = f"{len(gathered)} set{'' if len(gathered) == 1 else 's'} of measurements"

    def write_all() -> None:
        for write in writes:
            write()

    return Preview(
        table=shown,
        rows=rows,
        about_file=about_file(shown),
        outcome=f"{len(rows)} number{'' if len(rows) == 1 else 's'} in {sets}",
        write=write_all,
    )


class _People:
    """The people named in a file, each looked up once, with what is known of them."""

    def __init__(self, *, month_first: bool) -> None:
        self._month_first = month_first
        self._by_name: dict[tuple[str, ...], Person | str] = {}
        self._numbers: dict[int, list[Measured]] = {}

    def of(self, row: FileRow) -> Person | None:
        """The person of a row; None with a remark if there is none or more than one."""
        named = tuple(row.cells.get(name, "") for name in ("code", "given_name", "family_name", "born"))
        if named not in self._by_name:
            self._by_name[named] = self._find(*named)
        found = self._by_name[named]
        if isinstance(found, str):
            row.stop(found)
            return None
        return found

    def numbers(self, person: Person) -> list[Measured]:
        """What was measured on this person before."""
        if person.pk not in self._numbers:
            self._numbers[person.pk] = in_force(person)
        return self._numbers[person.pk]

    def _find(self, code: str, given: str, family: str, born: str) -> Person | str:
        held = Person.objects.filter(erased__isnull=True)
        if code:
            one = held.select_related("merged_into").filter(code=read_code(code) or "").first()
            return one.kept if one else f"There is nobody with the code {code!r}."
        day = read_day(born, month_first=self._month_first)
        if day is None or not (given or family):
            return "Say who it is: the code, or names and date of birth."
        alike = held.filter(
            born=day, given_name__iexact=given, family_name__iexact=family, merged_into__isnull=True
        )
        found: list[Person] = list(alike[:2])
        if len(found) == 1:
            return found[0]
        return (
            "There is nobody of this name and date of birth."
            if not found
            else "Several people fit: give the code."
        )


def _understood(row: FileRow, people: _People, protocols: Protocols, month_first: bool) -> _Number | None:
    """A row turned into a number; None with remarks if that cannot be."""
    cells = row.cells
    person = people.of(row)
    at = read_moment(cells.get("measured_at", ""), month_first=month_first)
    if at is None:
        row.stop(f"“{cells.get('measured_at', '')}” is no date: write 2024-05-17 or 2024-05-17 10:30.")
    elif at > timezone.now():
        row.stop("It was measured in the future: check the date.")
    elif person is not None and person.born is not None and at.date() < person.born:
        row.stop("It was measured before the person was born: check the date.")
    word = cells.get("quantity", "").lower()
    if word not in set(Quantity):
        row.stop(f"“{word}” is not measured here: allowed are {', '.join(Quantity)}.")
        return None
    quantity = Quantity(word)
    unit = _UNITS[quantity].get(cells.get("unit", "").lower())
    if unit is None:
        row.stop(f"The unit of {quantity} must be one of {', '.join(_UNITS[quantity])}.")
    if cells.get("state", "") == "withdrawn":
        row.stop("This number was withdrawn; take the row out.")
    typed = tuple(cells[name] for name in READINGS if cells.get(name))
    if not typed:
        row.stop("There is no reading.")
    asked = _asked(row, quantity, protocols)
    level, direction = _place(row, quantity)
    if row.stops or person is None or at is None or unit is None or asked is None:
        return None
    return _Number(row, person, at, asked, quantity, level, direction, typed, unit)


def _asked(row: FileRow, quantity: Quantity, protocols: Protocols) -> tuple[tuple[str, str], ...] | None:
    """Region, side and protocol, checked as an address that asks for them would be."""
    cells = row.cells
    name = cells.get("protocol", "")
    protocol = protocols.by_id(name)
    if protocol is None or protocol.quantity is not quantity:
        known = ", ".join(one.id for one in protocols.of(quantity, _region(cells.get("region", ""))))
        row.stop(f"There is no protocol {name!r} for {quantity}: known here are {known or 'none'}.")
        return None
    asked = {
        "region": cells.get("region", "").lower().replace(" ", "_"),
        "side": cells.get("side", "").lower(),
    }
    if quantity is Quantity.WEIGHT:
        asked = {"weight": "1"}
    else:
        asked[quantity.value] = name
    try:
        read_plan(asked, protocols, "cm")
    except PlanError as error:
        row.stop(str(error))
        return None
    return tuple(sorted(asked.items()))


def _region(word: str) -> RegionKind | None:
    word = word.lower().replace(" ", "_")
    return RegionKind(word) if word in set(RegionKind) else None


def _place(row: FileRow, quantity: Quantity) -> tuple[float | None, str]:
    if quantity is Quantity.WEIGHT:
        return None, ""
    text = row.cells.get("level_mm", "").replace(",", ".").replace("−", "-")
    try:
        level = round(float(text), 1) + 0.0
    except ValueError:
        row.stop("Give level_mm, the distance from the landmark in mm (up is positive, 0 at the landmark).")
        return None, ""
    if not -400 <= level <= 400:
        row.stop("The level lies more than 400 mm from the landmark.")
    direction = row.cells.get("direction", "").lower()
    direction = _TRUNK.get(direction, direction)
    if quantity is Quantity.FAT and direction not in DIRECTIONS:
        row.stop(f"The direction of fat must be one of {', '.join(DIRECTIONS)}.")
    return level, direction if quantity is Quantity.FAT else ""


def _set(numbers: Sequence[_Number], people: _People, protocols: Protocols) -> "partial[Any] | None":
    """Judge the numbers of one set; what keeps it, or None if something stops it."""
    first = numbers[0]
    asked: dict[str, str] = {}
    for number in numbers:
        for name, value in number.asked:
            if asked.setdefault(name, value) != value:
                number.row.stop(f"Another {name} in the same set ({asked[name]}): give them different times.")
    for name, quantity in (("levels", Quantity.GIRTH), ("fat_levels", Quantity.FAT)):
        levels = {one.level_mm for one in numbers if one.quantity is quantity and one.level_mm is not None}
        if levels:
            asked[name] = ",".join(f"{level:g}" for level in sorted(levels))
    try:
        plan = read_plan(asked, protocols, "cm")
    except PlanError as error:
        first.row.stop(str(error))
        return None
    values = _values(numbers, plan, people)
    if any(number.row.stops for number in numbers):
        return None
    at = first.at
    token = f"file {first.person.pk} {at.isoformat()} {plan.query()}"
    note = "Taken in from a file."
    return partial(keep_set, first.person, plan, values, token=token, note=note, measured_at=at)


def _values(numbers: Sequence[_Number], plan: SetPlan, people: _People) -> list[dict[str, Any]]:
    held = people.numbers(numbers[0].person)
    known = known_of(plan, held)
    lines = {line.key: line for line in plan.lines()}
    values, seen = [], set[str]()
    for number in numbers:
        line = lines.get(number.key)
        if line is None:
            number.row.stop("Its place does not fit the other rows of the set.")
        elif number.key in seen:
            number.row.stop("This place is in the set twice.")
        elif any(one.at == number.at and one.key == number.key for one in held):
            number.row.stop("This number is here already; take the row out.")
        else:
            seen.add(number.key)
            line = replace(line, unit=number.unit)
            try:
                values.append(_value(number, line, known(line)))
            except TypedError as error:
                number.row.stop(str(error))
    return values


def _value(number: _Number, line: EntryLine, known: Any) -> dict[str, Any]:
    """One number as it is kept, with what it was questioned for. Raises TypedError."""
    readings = [line.unit.read(text) for text in number.typed]
    settled: Settled = settle(readings, line.protocol)
    if settled.value <= 0:
        number.row.stop(f"This comes to nothing by the protocol ({line.protocol.conversion}).")
    confirmed = []
    for text, reading in zip(number.typed, readings, strict=True):
        doubt = question(text, reading, line.unit, line.protocol, known)
        if doubt:
            slips = "; ".join(f"{slip.words}: {line.unit.show(slip.meant)}?" for slip in doubt.likely)
            confirmed.append({"typed": text, "asked": f"{doubt.words} {slips}".strip()})
    if len(readings) < line.protocol.readings:
        confirmed.append({"typed": number.typed[-1], "asked": f"Only {settled.by}; the protocol wants more."})
    elif not settled.agreed:
        confirmed.append({"typed": number.typed[-1], "asked": "The readings do not agree within the limit."})
    for one in confirmed:
        number.row.ask(one["asked"])
    return number_content(
        line, number.typed, readings, settled, [{**one, "reason": _SURE} for one in confirmed]
    )
