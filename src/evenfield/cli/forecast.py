"""`evenfield forecast CASE.toml`: compute, say what it means, and write figures, report and JSON."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from evenfield.cli.options import CaseFile, JsonFile, folder
from evenfield.cli.written import document_text, written

if TYPE_CHECKING:
    from evenfield.forecast import Forecast


def forecast(
    case: CaseFile,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for report, figures and JSON.", parser=folder),
    ] = None,
    json_file: JsonFile = None,
) -> None:
    """Forecast where the heat goes in a case.

    Prints a summary. With --out it also writes report.pdf, forecast.json and the figures as SVG and PNG.
    Nothing is written if the case cannot be used or the forecast is cancelled.
    """
    from evenfield.case import read_case
    from evenfield.cli.progress import shown_progress

    checked = read_case(case)
    with written(out, json_file) as kept:
        with shown_progress() as progress:
            from evenfield.forecast import forecast as compute

            result = compute(checked, progress=progress)
            document = json_text(result)
            if kept.folder is not None:
                from evenfield.report import save_pictures, write_report

                progress("figures", 0.0)
                save_pictures(result, kept.folder)
                progress("report", 0.0)
                write_report(result, kept.folder / "report.pdf")
                (kept.folder / "forecast.json").write_text(document, encoding="utf-8")
                kept.add("report.pdf", "forecast.json")
                kept.add(*sorted(p.name for p in kept.folder.iterdir() if p.suffix in {".svg", ".png"}))
        kept.document(document)
    if kept.to_screen:
        typer.echo(document, nl=False)
        return
    from evenfield.cli.summary import print_summary

    print_summary(result, kept.files)


def json_text(result: "Forecast") -> str:
    """The forecast's JSON document as text; refuses to write what is not a number."""
    from evenfield.forecast import forecast_to_json

    return document_text(forecast_to_json(result))
