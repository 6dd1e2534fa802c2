"""Pages as PDF/A-2b and PDF/UA-1, with a text for every picture.

Set by typst from a template and the look that all pages share (`look.typ` beside this file), with the DejaVu
fonts that come with matplotlib and no font of the machine. The same data give the same bytes, so a file
carries a fixed date of its own and not that of its making (docs/decisions/0072).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import matplotlib
import typst

from evenfield.report.figures import Picture, save

FIXED_TIME = 946_684_800
"""1 January 2000, 0 h UTC, as seconds since 1970."""
STANDARDS: list[typst.PDFStandard] = ["a-2b", "ua-1"]


def typeset(
    template: str, data: dict[str, Any], drawn: Sequence[Picture], package: str = "evenfield.report"
) -> bytes:
    """The PDF of a template of a package, which reads `report.json` and the pictures by their names."""
    with TemporaryDirectory(prefix="evenfield-report-") as place:
        folder = Path(place)
        for picture in drawn:
            save(picture.draw(), folder / f"{picture.name}.svg")
        (folder / "report.json").write_text(json.dumps(data, ensure_ascii=False), "utf-8")
        (folder / "look.typ").write_text(
            files("evenfield.report").joinpath("look.typ").read_text("utf-8"), "utf-8"
        )
        page = folder / "template.typ"
        page.write_text(files(package).joinpath(template).read_text("utf-8"), "utf-8")
        fonts = typst.Fonts(
            include_system_fonts=False,
            include_embedded_fonts=False,
            font_paths=[Path(matplotlib.get_data_path()) / "fonts" / "ttf"],
        )
        return typst.compile(
            page, root=folder, font_paths=fonts, pdf_standards=STANDARDS, timestamp=FIXED_TIME
        )
