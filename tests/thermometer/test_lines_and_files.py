"""Readings as text: one line of a serial thermometer, and a CSV file that is taken whole or not at all."""

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from evenfield.thermometer import NoReadingError, SpotReading, TableError, TableFeed, parse_line, read_table
from evenfield.thermometer.reading import made_at

ZONES = ("inner: centre", "outer: centre")
BEGAN, NOW = datetime(2026, 5, 17, 10, 0, tzinfo=UTC), datetime(2026, 5, 17, 10, 40, tzinfo=UTC)
HEADER = "time,zone,temperature,unit"


@pytest.mark.parametrize(
    ("line", "celsius"),
    [
        ("36.4", 36.4),
        (" 36,4 C\r", 36.4),
        ("36.4°C", 36.4),
        ("+34 c", 34.0),
        ("212 F", 100.0),  # water boils, ice melts: the fixed points of the scale
        ("32 °F", 0.0),
        ("-40 F", -40.0),  # where both scales meet
    ],
)
def test_a_line_is_a_number_with_or_without_its_unit(line: str, celsius: float) -> None:
    told = parse_line(line)
    assert told == SpotReading(told.celsius)
    assert told.celsius == pytest.approx(celsius, abs=1e-9)


def test_a_line_with_a_time_can_be_known_again() -> None:
    told = parse_line("97.52 F 2026-05-17T10:30:00+02:00\n")
    assert told.celsius == pytest.approx(36.4, abs=1e-9)
    assert told.stamp == datetime(2026, 5, 17, 8, 30, tzinfo=UTC)
    assert told.same == "97.52 F 2026-05-17T10:30:00+02:00"


@pytest.mark.parametrize(
    "line", ["", "ERR", "36.4 K", "36.4.1", "nan", "inf", "1e3", "36.4 C 10:30", "36.4 C 2026-13-01T10:30:00",
             "36.4 C 2026-05-17", "36.4 C now", "٣٦", "36.4 36.5", "\x00\x1b36.4"],
)  # fmt: skip
def test_any_other_line_is_refused_in_one_printable_sentence(line: str) -> None:
    with pytest.raises(NoReadingError) as refusal:
        parse_line(line)
    assert str(refusal.value).isprintable()
    assert str(refusal.value).startswith("No reading: ")


def table(*lines: str, header: str = HEADER) -> list[SpotReading]:
    """The readings of such a file."""
    return read_table("\n".join([header, *lines]), ZONES, BEGAN, NOW)


def test_a_file_gives_its_readings_in_its_order() -> None:
    told = table(
        "2026-05-17T10:05:00Z,inner: centre,34.2,C", "", "2026-05-17T12:10:00+02:00,outer: centre,95,°F"
    )
    assert [(one.zone, one.celsius) for one in told] == [("inner: centre", 34.2), ("outer: centre", 35.0)]
    assert [one.stamp for one in told] == [BEGAN + timedelta(minutes=minute) for minute in (5, 10)]
    other = read_table(
        'Unit;Zone;Temperature;Time\r\nC;"inner: centre";34,2;2026-05-17T10:05:00Z\r\n',
        ZONES,
        BEGAN,
        NOW,
    )
    assert other == told[:1]  # other columns first, decimal commas, as a spreadsheet writes it
    assert len({one.same for one in told}) == 2


def test_one_bad_line_keeps_out_the_whole_file_and_each_bad_line_is_named() -> None:
    with pytest.raises(
        TableError, match=r"^7 lines of the file cannot be taken, so nothing of it was\.$"
    ) as no:
        table(
            "2026-05-17T10:05:00Z,inner: centre,34.2,C",
            "2026-05-17T09:59:59Z,inner: centre,34.2,C",
            "2026-05-17T10:40:01Z,inner: centre,34.2,C",
            "2026-05-17T10:06:00Z,knee,34.2,C",
            "2026-05-17T10:06:00Z,inner: centre,34.2,K",
            "2026-05-17T10:06:00Z,inner: centre,34 2,C",
            "2026-05-17T10:06:00Z,inner: centre,98.6,C",
            "2026-05-17T10:05:00Z,inner: centre,34.2,C",
        )
    problems = no.value.problems
    assert [problem.split(":")[0] for problem in problems] == [f"Line {n}" for n in range(3, 10)]
    assert all("\n" not in problem and problem.endswith(".") for problem in problems)
    for words, problem in zip(
        ["not lie within the visit so far, ", "not lie within the visit so far, ",
         "no zone “knee”; the zones are: inner: centre, outer",
         "unit “K” is not one of", "“34 2” is no number", "98.6 °C cannot be entered",
         "the same as line 2"],
        problems, strict=True,
    ):  # fmt: skip
        assert words in problem


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "must name the columns time, zone, temperature, unit once each, not: nothing"),
        ("time,zone,temperature\n", "not: time, zone, temperature"),
        (f"{HEADER},unit\n", "once each"),
        (HEADER, "no readings"),
        (f"{HEADER}\n\x00" + "x" * 200_000, "is no CSV"),
        (HEADER + "\n2026-05-17T10:05:00Z,inner: centre,34.2,C" * 2001, "at most 2000"),
    ],
)
def test_a_file_of_another_kind_is_refused_in_a_sentence(text: str, words: str) -> None:
    with pytest.raises(TableError, match=words):
        read_table(text, ZONES, BEGAN, NOW)


def test_a_file_that_is_not_there_or_no_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="No such file"):
        TableFeed(tmp_path / "none.csv", ZONES, BEGAN, NOW)
    line = f"{HEADER}\n2026-05-17T10:05:00Z,inner: centre,34.2,°C"
    (tmp_path / "latin.csv").write_bytes(line.encode("latin-1"))
    assert TableFeed(tmp_path / "latin.csv", ZONES, BEGAN, NOW).readings[0].celsius == 34.2
    (tmp_path / "latin.csv").write_bytes(b"\xb0\x81\x8d")
    with pytest.raises(TableError, match="no text in UTF-8 or Windows-1252"):
        TableFeed(tmp_path / "latin.csv", ZONES, BEGAN, NOW)
    (tmp_path / "latin.csv").write_bytes(f"\ufeff{line}".encode())
    assert TableFeed(tmp_path / "latin.csv", ZONES, BEGAN, NOW).readings[0].celsius == 34.2


def test_a_time_without_a_zone_is_of_the_zone_given() -> None:
    east = timezone(timedelta(hours=5))
    lines = f"{HEADER}\n2026-05-17T15:05:00,inner: centre,34.2,C"
    assert read_table(lines, ZONES, BEGAN, NOW, east)[0].stamp == BEGAN + timedelta(minutes=5)


@pytest.mark.parametrize("trust", [False, True])
def test_a_reading_counts_from_its_arrival_unless_its_own_clock_is_vouched_for(trust: bool) -> None:
    def made(stamp: datetime | None) -> datetime:
        return made_at(SpotReading(35.0, stamp), NOW, trust_stamp=trust)

    assert made(None) == NOW
    assert made(NOW + timedelta(seconds=59)) == NOW
    assert made(NOW - timedelta(seconds=30)) == (NOW - timedelta(seconds=30) if trust else NOW)
    with pytest.raises(NoReadingError, match="yet to be made"):
        made(NOW + timedelta(seconds=61))
    if trust:
        assert made(NOW - timedelta(minutes=25)) == NOW - timedelta(minutes=25)
        east = timezone(timedelta(hours=5))
        assert made((NOW - timedelta(minutes=25)).astimezone(east)) == NOW - timedelta(minutes=25)
    else:
        with pytest.raises(NoReadingError, match="either it was kept since then or the thermometer's clock"):
            made(NOW - timedelta(minutes=25))


def test_a_stamp_without_a_zone_is_of_this_computers_clock() -> None:
    here = NOW.astimezone().replace(tzinfo=None) - timedelta(minutes=25)
    assert made_at(SpotReading(35.0, here), NOW, trust_stamp=True) == NOW - timedelta(minutes=25)
