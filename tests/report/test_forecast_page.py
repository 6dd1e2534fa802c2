"""The report: an archivable, accessible PDF of at most two pages that says what must be said."""

import contextlib
import re
import subprocess
import zlib
from dataclasses import replace
from pathlib import Path

import pytest

from evenfield.forecast import DECIDES, Forecast
from evenfield.report import pictures, write_report
from evenfield.report.forecast_page import report_data
from tests.report.coarse import barely_told, coarse_forecast, coarse_forecast_of_four


@pytest.fixture(scope="module")
def f() -> Forecast:
    return coarse_forecast()


@pytest.fixture(scope="module")
def report(f: Forecast, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.pdf"
    write_report(f, path)
    return path


def words_of(report: Path, pdftotext: Path) -> str:
    text = subprocess.run(
        [pdftotext, "-layout", report, "-"], capture_output=True, check=True, text=True
    ).stdout
    return " ".join(text.split())


def test_it_declares_pdf_a_and_pdf_ua(report: Path) -> None:
    """ISO 19005-2 (part 2, level B) and ISO 14289-1 name themselves in the XMP packet, which PDF/A leaves
    uncompressed."""
    page = report.read_bytes()
    assert re.search(rb"<pdfaid:part>2</pdfaid:part>", page)
    assert re.search(rb"<pdfaid:conformance>B</pdfaid:conformance>", page)
    assert re.search(rb"<pdfuaid:part>1</pdfuaid:part>", page)


def test_at_most_two_pages_and_only_our_font(report: Path, pdftotext: Path) -> None:
    def ask(program: str) -> str:
        return subprocess.run(
            [pdftotext.parent / program, report], capture_output=True, check=True, text=True
        ).stdout

    assert re.search(r"^Pages:\s+[12]$", ask("pdfinfo"), re.MULTILINE)
    assert re.search(r"^Page size:.*\(A4\)$", ask("pdfinfo"), re.MULTILINE)
    fonts = ask("pdffonts").splitlines()[2:]
    assert fonts
    assert all("DejaVu" in line and " yes yes " in line for line in fonts), "embedded, subset"


def test_every_picture_has_its_words(f: Forecast, report: Path, pdftotext: Path) -> None:
    """Each figure of the structure tree has its alternative text; tables have header cells."""
    structure = subprocess.run(
        [pdftotext.parent / "pdfinfo", "-struct", report], capture_output=True, check=True, text=True
    ).stdout
    assert structure.count("Figure") == len(pictures(f))
    assert "TH" in structure
    objects = unpacked(report.read_bytes())
    for picture in pictures(f):
        told = picture.words.encode("utf-16-be").hex().upper()
        plain = f"/Alt({picture.words})"
        assert f"/Alt<FEFF{told}>".encode() in objects or plain.encode("latin-1", "ignore") in objects


def unpacked(page: bytes) -> bytes:
    """The file with the contents of its compressed streams."""
    out = [page]
    for match in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", page, re.DOTALL):
        with contextlib.suppress(zlib.error):
            out.append(zlib.decompress(match[1]))
    return b"\n".join(out)


def test_it_says_what_must_be_said(f: Forecast, report: Path, pdftotext: Path) -> None:
    words = words_of(report, pdftotext)
    wanted = [
        f.case.title,
        DECIDES,
        "fat kind: average infiltrated",
        "assumed until the device is calibrated",
        "0.35 to 0.75",
        "not a measurement and not an alarm",
        "Nothing here forecasts loss of fat",
        f"{f.peak_c['fat']:.1f} °C",
        "CEM43",
        "Sources used",
        "docs/quasi_static.md",
    ]
    missing = [text for text in wanted if text not in words]
    assert not missing
    assert words.count(DECIDES) >= 2, "on every page"
    assert "safe" not in words.lower()


def test_the_same_forecast_gives_the_same_bytes(f: Forecast, report: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.pdf"
    write_report(f, again)
    assert again.read_bytes() == report.read_bytes()


def test_words_that_mean_something_to_the_typesetter_stay_words(
    f: Forecast, tmp_path: Path, pdftotext: Path
) -> None:
    title = '#set page(width: 1pt) *a* _b_ $x$ "quoted" \\ <label> @ref'
    path = tmp_path / "odd.pdf"
    write_report(replace(f, case=replace(f.case, title=title)), path)
    assert title in words_of(path, pdftotext)


def test_a_case_that_leaves_much_open_takes_no_third_page(
    f: Forecast, tmp_path: Path, pdftotext: Path
) -> None:
    path = tmp_path / "report.pdf"
    write_report(barely_told(f), path)
    told = subprocess.run(
        [pdftotext.parent / "pdfinfo", path], capture_output=True, check=True, text=True
    ).stdout
    assert re.search(r"^Pages:\s+2$", told, re.MULTILINE)
    words = words_of(path, pdftotext)
    assert "Girth 300 mm · Fat 10.8 mm all round" in words
    assert "skin exchange" in words, "the last source"


def test_four_panels_take_two_pages_and_keep_the_zones_that_stand_out(
    tmp_path: Path, pdftotext: Path
) -> None:
    f = coarse_forecast_of_four()
    path = tmp_path / "report.pdf"
    write_report(f, path)
    told = subprocess.run(
        [pdftotext.parent / "pdfinfo", path], capture_output=True, check=True, text=True
    ).stdout
    assert re.search(r"^Pages:\s+2$", told, re.MULTILINE)
    rows = [row["cells"] for row in report_data(f, ())["zones"]]
    assert [row[0] for row in rows if row[0]] == [panel.name for panel in f.case.panels]
    assert 4 <= len(rows) <= 12
    for tissue, column in (("skin", 3), ("fat", 6)):
        hottest = max(z.peak_c for z in f.zones if z.zone.tissue == tissue)
        assert f"{hottest:.1f}" in [row[column] for row in rows]
    coolest = min(z.mean_c for z in f.zones if z.zone.tissue == "fat")
    assert f"{coolest:.1f}" in [row[5] for row in rows]
    assert "nine zones" in words_of(path, pdftotext)
