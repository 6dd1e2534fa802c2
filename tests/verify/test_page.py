"""docs/verification.md lists every registered check as it stands, and none failed when it was written."""

from pathlib import Path

from evenfield.tissue import Label
from evenfield.verify.checks import Check, Kind, Result, Status, Subject, all_checks
from evenfield.verify.page import write_page
from evenfield.verify.table import number, tolerance_text

PAGE = Path(__file__).parents[2] / "docs" / "verification.md"


def rows() -> list[list[str]]:
    lines = PAGE.read_text(encoding="utf-8").replace("\\|", "¦").splitlines()
    table = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("| ")]
    return [cells for cells in table if cells[0] != "check"]


def test_page_lists_every_check_in_order() -> None:
    listed = [cells[0].rpartition("(")[2].rstrip(")") for cells in rows()]
    assert listed == [one.id for one in all_checks()], (
        "run: python -m evenfield.verify.page docs/verification.md"
    )


def test_page_shows_what_the_checks_say_now() -> None:
    for cells, one in zip(rows(), all_checks(), strict=True):
        shown = (cells[1], cells[4], cells[5], cells[6])
        expected = f"{number(one.expected)} {one.unit}".rstrip()
        assert shown == (expected, tolerance_text(one), one.source, one.label.value), one.id
        assert cells[7] == "passed", one.id


def test_a_bar_in_the_text_does_not_break_the_table() -> None:
    one = Check("x", Subject.DOSE, "|J|", 1.0, 0.1, Kind.ABSOLUTE, "", "s", Label.C, lambda: 1.0)
    page = write_page([Result(one, 1.0, Status.PASSED, 0.0)])
    assert "| \\|J\\| (x) | 1 | 1 | +0 | ± 0.1 | s | C | passed |" in page
