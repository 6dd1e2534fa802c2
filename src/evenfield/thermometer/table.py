"""Readings from a CSV file with the columns time, zone, temperature, unit: all of it, or nothing."""

import csv
import io
from collections.abc import AsyncGenerator, Sequence
from datetime import datetime, tzinfo
from pathlib import Path

from evenfield.conduct import EventError, event_from_mapping
from evenfield.thermometer.line import parse_number, parse_time
from evenfield.thermometer.reading import Degrees, FeedRemark, NoReadingError, SpotReading

COLUMNS = ("time", "zone", "temperature", "unit")
MOST_LINES = 2000
FILE = "file"
_UNITS = {"C": Degrees.CELSIUS, "°C": Degrees.CELSIUS, "F": Degrees.FAHRENHEIT, "°F": Degrees.FAHRENHEIT}


class TableError(ValueError):
    """The file cannot be taken. The message says so in one sentence; `problems` has one per bad line."""

    def __init__(self, message: str, problems: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.problems = tuple(problems)


def read_table(
    text: str, zones: Sequence[str], earliest: datetime, latest: datetime, here: tzinfo | None = None
) -> list[SpotReading]:
    """The readings of a file's text, in its order.

    Args:
        text: the file; the first line names the columns, in any order; commas or semicolons between.
        zones: the names allowed in the column zone.
        earliest, latest: with zone; a time before or after is refused.
        here: the zone of times that name none; this computer's if it is None.

    Raises:
        TableError: with one sentence per line that cannot be taken; then nothing of the file is.
    """
    rows = _rows(text)
    names = [name.strip().lower() for name in rows[0][1]] if rows else []
    if sorted(names) != sorted(COLUMNS):
        told = ", ".join(names)[:80] or "nothing"
        raise TableError(f"Line 1 must name the columns {', '.join(COLUMNS)} once each, not: {told}.")
    if len(rows) > MOST_LINES:
        raise TableError(f"The file has {len(rows)} lines; at most {MOST_LINES} are taken at once.")
    found, problems, seen = [], [], dict[str, int]()
    for number, row in rows[1:]:
        try:
            one = _reading(names, row, zones, (earliest, latest), here)
            if one.same in seen:
                raise NoReadingError(f"the same as line {seen[one.same]}")
        except NoReadingError as error:
            problems.append(f"Line {number}: {str(error).removeprefix('No reading: ').rstrip('.')}.")
        else:
            seen[one.same] = number
            found.append(one)
    if problems:
        lines = f"{len(problems)} line{'s' if len(problems) > 1 else ''}"
        raise TableError(f"{lines} of the file cannot be taken, so nothing of it was.", problems)
    if not found:
        raise TableError("The file has no readings.")
    return found


def _rows(text: str) -> list[tuple[int, list[str]]]:
    """The lines that hold something, each with its number (the last, where a quoted cell has several)."""
    apart = ";" if ";" in text.partition("\n")[0] else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=apart)
    try:
        return [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise TableError(f"Line {reader.line_num} of the file is no CSV: {error}.") from error


def _reading(
    names: list[str],
    row: list[str],
    zones: Sequence[str],
    span: tuple[datetime, datetime],
    here: tzinfo | None,
) -> SpotReading:
    if len(row) != len(names):
        raise NoReadingError(f"{len(row)} columns, {len(names)} expected")
    cell = {name: value.strip() for name, value in zip(names, row, strict=True)}
    told = parse_time(cell["time"])
    at = told if told.tzinfo else told.replace(tzinfo=here) if here else told.astimezone()
    if not span[0] <= at <= span[1]:
        first, last = (f"{moment.astimezone(here):%Y-%m-%d %H:%M:%S}" for moment in span)
        raise NoReadingError(f"{cell['time']} does not lie within the visit so far, {first} to {last}")
    if cell["zone"] not in zones:
        raise NoReadingError(f"there is no zone “{cell['zone'][:60]}”; the zones are: {', '.join(zones)}")
    scale = _UNITS.get(cell["unit"])
    if scale is None:
        raise NoReadingError(f"unit “{cell['unit'][:20]}” is not one of {', '.join(_UNITS)}")
    celsius = scale.to_celsius(parse_number(cell["temperature"]))
    if problem := problem_of(celsius, cell["zone"]):
        raise NoReadingError(problem)
    return SpotReading(celsius, at, f"{at.timestamp():.3f} {cell['zone']} {celsius:.4f}", cell["zone"])


def problem_of(celsius: float, zone: str) -> str:
    """Why the record would refuse this temperature, by its own rule; "" if it would not."""
    said = {"kind": "skin_reading", "id": "reading", "at_s": 0.0, "zone": zone, "celsius": celsius}
    try:
        event_from_mapping(said)
    except EventError as error:
        return f"{celsius:.1f} °C cannot be entered as skin: {error}"
    return ""


def decoded(content: bytes) -> str:
    """The text of a file in UTF-8 or, as spreadsheets also write it, Windows-1252; else `TableError`."""
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            pass
    raise TableError("The file is no text in UTF-8 or Windows-1252.")


class TableFeed:
    """A file as a source of readings; reading it tells all of them, or raises `TableError`."""

    def __init__(self, path: Path, zones: Sequence[str], earliest: datetime, latest: datetime) -> None:
        try:
            content = path.read_bytes()
        except OSError as error:
            raise TableError(f"{path} cannot be read: {error.strerror}.") from error
        self.readings = read_table(decoded(content), zones, earliest, latest)

    @property
    def name(self) -> str:
        """The same for every file: the same line in two files is the same reading."""
        return FILE

    async def told(self) -> AsyncGenerator[SpotReading | FeedRemark, None]:
        """All readings of the file, in its order."""
        for one in self.readings:
            yield one
