"""CSV files as they come and as they go: encoding, separator, and text that looks like a formula.

Written: UTF-8 with a byte order mark, commas, CRLF (RFC 4180), numbers with a point. A text that a
spreadsheet would run as a formula gets an apostrophe before it (OWASP, "CSV Injection": a cell that starts
with =, +, -, @, tab, carriage return or line feed); reading takes it off again, so what was written comes
back as it was.
"""

import codecs
import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

MOST_BYTES = 1_000_000
MOST_ROWS = 1000
_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n")
_GUARD = "'"
_SEPARATORS = (",", ";", "\t")


class CsvError(ValueError):
    """A file that cannot be read at all; one sentence."""


Cell = str | int | float | bool | None


def written(columns: Sequence[str], rows: Iterable[Mapping[str, Cell]]) -> bytes:
    """A CSV file. Text is guarded, numbers are not: they were numbers here."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_shown(row.get(column)) for column in columns])
    return codecs.BOM_UTF8 + out.getvalue().encode()


def _shown(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return f"{value:.10g}"
    return guarded(value)


def guarded(text: str) -> str:
    """Text that no spreadsheet runs; one that starts with the guard and such a sign gets a second guard."""
    return _GUARD + text if text.lstrip(_GUARD).startswith(_RUNS) else text


def unguarded(text: str) -> str:
    """The text before `guarded`."""
    return text[1:] if text.startswith(_GUARD) and text.lstrip(_GUARD).startswith(_RUNS) else text


@dataclass(frozen=True)
class Table:
    """A file as read.

    Attributes:
        encoding: in words.
        separator: in words.
        columns: the header as known here; unknown ones are in `ignored`.
        rows: line number in the file and cells by column.
        uneven: number of cells by line, of rows with more or fewer cells than the header.
        sure_of_encoding: whether the file says its encoding or is UTF-8.
    """

    encoding: str
    separator: str
    columns: tuple[str, ...]
    ignored: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]
    uneven: Mapping[int, int]
    sure_of_encoding: bool


def read_table(content: bytes, known: Mapping[str, str]) -> Table:
    """Read a CSV file.

    Args:
        content: the bytes of the file.
        known: column names, small letters, and what each is called here.

    Raises:
        CsvError: not text, no known column, a column twice, no rows or too many.
    """
    if len(content) > MOST_BYTES:
        raise CsvError(f"The file is larger than {MOST_BYTES // 1000} kB; split it.")
    text, encoding, sure = _decoded(content)
    if "\0" in text:
        raise CsvError("This is not a text file; save the sheet as CSV.")
    lines = text.lstrip("\r\n")
    separator = max(_SEPARATORS, key=lambda sign: _recognised(lines, sign, known))
    if not _recognised(lines, separator, known):
        names = ", ".join(sorted(set(known.values())))
        raise CsvError(f"The first line names no column known here; known are: {names}.")
    reader = csv.reader(io.StringIO(lines, newline=""), delimiter=separator, strict=True)
    try:
        header = next(reader)
        rows, uneven = [], {}
        names_here = [known.get(_plain(name), "") for name in header]
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            number = reader.line_num
            if len(cells) != len(header):
                uneven[number] = len(cells)
            named = zip(names_here, cells, strict=False)
            rows.append((number, {name: unguarded(cell.strip()) for name, cell in named if name}))
    except csv.Error as error:
        raise CsvError(f"Line {reader.line_num} cannot be read: {error}.") from None
    given = [name for name in names_here if name]
    twice = sorted({name for name in given if given.count(name) > 1})
    if twice:
        raise CsvError(f"Two columns mean the same: {', '.join(twice)}; take one of each out.")
    if not rows:
        raise CsvError("There is no row under the header.")
    if len(rows) > MOST_ROWS:
        raise CsvError(f"The file has {len(rows)} rows; {MOST_ROWS} at a time can be looked over.")
    ignored = [
        name.strip() for name, here in zip(header, names_here, strict=True) if name.strip() and not here
    ]
    words = {",": "comma", ";": "semicolon", "\t": "tab"}[separator]
    return Table(encoding, words, tuple(given), tuple(ignored), tuple(rows), uneven, sure)


def _decoded(content: bytes) -> tuple[str, str, bool]:
    """The text, its encoding in words, and whether that is certain."""
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if content.startswith(mark):
            try:
                return content.decode(name), name.removesuffix("-sig").upper(), True
            except UnicodeDecodeError:
                raise CsvError(f"The file begins as {name.upper()} and is not; save it anew.") from None
    try:
        return content.decode("utf-8"), "UTF-8", True
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace"), "Windows-1252", False


def _recognised(text: str, separator: str, known: Mapping[str, str]) -> int:
    """How many columns of the first line are known if parted by this sign."""
    first = next(csv.reader(io.StringIO(text, newline=""), delimiter=separator), [])
    return sum(_plain(name) in known for name in first)


def _plain(name: str) -> str:
    return " ".join(name.strip().lower().replace("_", " ").replace("-", " ").split())
