"""`evenfield verify` can be read in a narrow terminal and in a wide one."""

from io import StringIO

import pytest
from rich.console import Console

from evenfield.cli.verify import _print
from evenfield.tissue import Label
from evenfield.verify.checks import Check, Kind, Result, Status, Subject

CHECK = Check(
    id="invented_check",
    subject=Subject.DIELECTRIC,
    what="an invented value of some tissue",
    expected=2.0,
    tolerance=0.01,
    kind=Kind.RELATIVE,
    unit="S/m",
    source="invented source of this test",
    label=Label.A,
    run=lambda: 2.1,
)


@pytest.mark.parametrize("status", [Status.PASSED, Status.FAILED])
def test_a_narrow_terminal_gets_whole_words(status: Status) -> None:
    out = StringIO()
    _print([Result(CHECK, 2.1, status, 0.0)], Console(file=out, width=80, highlight=False))
    lines = [line.strip() for line in out.getvalue().splitlines()]
    assert "an invented value of some tissue (invented_check)" in lines
    assert f"invented source of this test [{CHECK.label.value}]" in lines
    assert " ".join(lines).count(f"{status.value}: expected 2 S/m, got 2.1, error +5 %, tolerance ± 1 %") == 1
    assert max(map(len, out.getvalue().splitlines())) <= 80


def test_a_wide_terminal_gets_the_table() -> None:
    out = StringIO()
    _print([Result(CHECK, 2.1, Status.PASSED, 0.0)], Console(file=out, width=160, highlight=False))
    (row,) = [line for line in out.getvalue().splitlines() if "an invented value" in line]
    assert "2 S/m" in row
    assert "passed" in row
