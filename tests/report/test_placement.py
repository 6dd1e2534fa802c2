"""The page to print: an archivable, accessible PDF of one page with the picture and what to watch."""

import re
import subprocess
from pathlib import Path

import pytest

from evenfield.case import case_from_toml
from evenfield.forecast import DECIDES
from evenfield.report import basis_lines, write_placement_page
from evenfield.report.placement import draw_placement, placement_picture
from evenfield.tolerance import ToleranceTable, tolerance_table, variations, what_to_watch
from tests.calf import CALF_10_W


@pytest.fixture(scope="module")
def table() -> ToleranceTable:
    case = case_from_toml(CALF_10_W)
    return tolerance_table(case, [v for v in variations(case) if v.group in ("gap", "shift along")])


@pytest.fixture(scope="module")
def page(table: ToleranceTable, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "what_to_watch.pdf"
    write_placement_page(table, path)
    return path


def test_it_declares_pdf_a_and_pdf_ua(page: Path) -> None:
    """As ISO 19005-2 and ISO 14289-1 have it in the XMP packet."""
    content = page.read_bytes()
    assert b"<pdfaid:part>2</pdfaid:part>" in content
    assert b"<pdfuaid:part>1</pdfuaid:part>" in content


def test_one_page_says_what_must_be_said(table: ToleranceTable, page: Path, pdftotext: Path) -> None:
    told = subprocess.run(
        [pdftotext.parent / "pdfinfo", page], capture_output=True, check=True, text=True
    ).stdout
    assert re.search(r"^Pages:\s+1$", told, re.MULTILINE)
    text = subprocess.run([pdftotext, "-layout", page, "-"], capture_output=True, check=True, text=True)
    words = " ".join(text.stdout.split())
    first = " ".join(what_to_watch(table)[0].split()[:6])
    for wanted in (
        table.case.title,
        *basis_lines(table.case),
        DECIDES,
        "not a measurement",
        "generic circuit",
        first,
    ):
        assert wanted in words, wanted
    assert "safe" not in words.lower()
    structure = subprocess.run(
        [pdftotext.parent / "pdfinfo", "-struct", page], capture_output=True, check=True, text=True
    ).stdout
    assert structure.count("Figure") == 1


def test_every_field_of_the_picture_holds_its_number(table: ToleranceTable) -> None:
    """Nothing is told by colour alone."""
    texts = [t.get_text() for ax in draw_placement(table).axes for t in ax.texts]
    possible = sum(e.outcome is not None for e in table.effects)
    assert sum(bool(re.fullmatch(r"[+-]?\d+\.\d", t)) for t in texts) == 2 * possible
    assert texts.count("–") == 2 * (len(table.effects) - possible)
    assert what_to_watch(table)[0] in placement_picture(table).words
