"""Dates of birth as people type them, and the dates one slip away."""

import re
from datetime import date

_NAMES = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
]
_MONTHS = {short: place for place, name in enumerate(_NAMES, 1) for short in (name, name[:3], name[:4])}
_IN_WORDS = re.compile(
    r"\b(?:(?P<day>\d{1,2})\.?\s+)?(?P<month>[a-z]{3,9})\.?\s+(?(day)|(?P<after>\d{1,2}),?\s+)(?P<year>\d{4})\b",
    re.IGNORECASE,
)


def read_date(text: str, *, month_first: bool) -> date | None:
    """A date written 1980-03-05, 5.3.1980 or 05/03/1980 (month first where that is usual), or None."""
    iso = re.fullmatch(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})", text)
    if iso:
        return _date(*iso.groups())
    other = re.fullmatch(r"(\d{1,2})([-./])(\d{1,2})[-./](\d{4})", text)
    if not other:
        return None
    first, sign, second, year = other.groups()
    if month_first and sign == "/":
        first, second = second, first
    return _date(year, second, first)


def take_dates(text: str, *, month_first: bool) -> tuple[list[date], str]:
    """The dates in a line, also with the month in words (29 February 1984), and the rest of it."""
    found: list[date] = []

    def without(written: re.Match[str]) -> str:
        month = _MONTHS.get(written["month"].lower(), 0)
        one = _date(written["year"], str(month), written["day"] or written["after"])
        if one is None:
            return written.group()
        found.append(one)
        return " "

    rest = []
    for word in _IN_WORDS.sub(without, text).split():
        one = read_date(word, month_first=month_first)
        if one is None:
            rest.append(word)
        else:
            found.append(one)
    return found, " ".join(rest)


def near_dates(born: date) -> set[date]:
    """Dates with day and month swapped, one digit wrong, or two neighbouring digits swapped."""
    digits = f"{born:%Y%m%d}"
    tried = {digits[:i] + wrong + digits[i + 1 :] for i in range(8) for wrong in "0123456789"}
    tried |= {digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :] for i in range(7)}
    tried.add(digits[:4] + digits[6:] + digits[4:6])
    found = {_date(text[:4], text[4:6], text[6:]) for text in tried}
    return {one for one in found if one is not None and one.year >= 1880} - {born}


def _date(year: str, month: str, day: str) -> date | None:
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        return None
