"""`evenfield forecast CASE.toml`: compute, say what it means, and write figures, report and JSON."""

from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from evenfield.forecast import Forecast


def forecast(
    case: Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case file.", show_default=False)],
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for report, figures and JSON."),
    ] = None,
    json_file: Annotated[
        str | None,
        typer.Option(
            "--json", metavar="FILE", help="File for the JSON alone; - prints it.", show_default=False
        ),
    ] = None,
) -> None:
    """Forecast where the heat goes in a case.

    Prints a summary. With --out it also writes report.pdf, forecast.json and the figures as SVG and PNG.
    Nothing is written if the case cannot be used or the forecast is cancelled.
    """
    from evenfield.case import read_case
    from evenfield.cli.draft import draft
    from evenfield.cli.progress import shown_progress

    checked = read_case(case)
    written: list[Path] = []
    with ExitStack() as drafts:
        folder = None if out is None else drafts.enter_context(draft(out, folder=True))
        lone = None if json_file in (None, "-") else drafts.enter_context(draft(Path(str(json_file))))
        with shown_progress() as progress:
            from evenfield.forecast import forecast as compute

            result = compute(checked, progress=progress)
            document = json_text(result)
            if folder is not None and out is not None:
                from evenfield.report import save_pictures, write_report

                progress("figures", 0.0)
                save_pictures(result, folder)
                progress("report", 0.0)
                write_report(result, folder / "report.pdf")
                (folder / "forecast.json").write_text(document, encoding="utf-8")
                written += [out / "report.pdf", out / "forecast.json"]
                written += sorted(
                    out / path.name for path in folder.iterdir() if path.suffix in {".svg", ".png"}
                )
        if lone is not None:
            lone.write_text(document, encoding="utf-8")
            written.append(Path(str(json_file)))
    if json_file == "-":
        typer.echo(document, nl=False)
        return
    from evenfield.cli.summary import print_summary

    print_summary(result, written)


def json_text(result: "Forecast") -> str:
    """The forecast's JSON document as text; refuses to write what is not a number."""
    import json

    from evenfield.forecast import forecast_to_json

    return json.dumps(forecast_to_json(result), ensure_ascii=False, indent=1, allow_nan=False) + "\n"
