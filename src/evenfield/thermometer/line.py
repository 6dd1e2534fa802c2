"""A reading as one line of text: what the serial feed takes.

A number with a point or a comma, a unit (C, F, °C, °F; none is °C), a time in ISO 8601, apart by spaces:
`36.4`, `36.4 C`, `97.5 F 2026-05-17T10:30:00`.
"""

import re
from datetime import datetime

from evenfield.thermometer.reading import Degrees, NoReadingError, SpotReading

_NUMBER = r"[+-]?\d{1,4}(?:[.,]\d{1,4})?"
_LINE = re.compile(rf"({_NUMBER})(?:\s*°?([CFcf]))?(?:\s+(\d{{4}}-\S+))?", re.ASCII)
_UNITS = {"": Degrees.CELSIUS, "C": Degrees.CELSIUS, "F": Degrees.FAHRENHEIT}


def parse_line(line: str) -> SpotReading:
    """The reading of a line; one with a time is the same reading when the same line comes again.

    Raises `NoReadingError` with one sentence.
    """
    words = line.strip()
    found = _LINE.fullmatch(words)
    if found is None:
        raise NoReadingError(
            f"No reading: “{_shown(words)}” is not a number, perhaps with a unit and a time."
        )
    number, unit, time = found.groups(default="")
    stamp = parse_time(time) if time else None
    celsius = _UNITS[unit.upper()].to_celsius(parse_number(number))
    return SpotReading(celsius, stamp, same=words if stamp else "")


def parse_number(words: str) -> float:
    """A number with a point or a comma and at most four digits on either side; `NoReadingError` else."""
    if not re.fullmatch(_NUMBER, words, re.ASCII):
        raise NoReadingError(f"No reading: “{_shown(words)}” is no number.")
    return float(words.replace(",", "."))


def parse_time(words: str) -> datetime:
    """A time with its date, ISO 8601, with or without a zone; `NoReadingError` in one sentence."""
    try:
        found = datetime.fromisoformat(words)
    except ValueError:
        found = None
    if found is None or len(words) < len("2026-05-17T10:30"):
        raise NoReadingError(f"No reading: “{_shown(words)}” is no time such as 2026-05-17T10:30:00.")
    return found


def _shown(words: str) -> str:
    """Short and printable, since it may be anything."""
    return "".join(sign if sign.isprintable() else "�" for sign in words[:40])
