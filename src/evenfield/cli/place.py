"""`evenfield place CASE.toml`: what the usual errors of placing would do to this plan."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from evenfield.cli.options import CaseFile, JsonFile, folder
from evenfield.cli.written import document_text, written

if TYPE_CHECKING:
    from rich.console import Console

    from evenfield.tolerance import Effect, ToleranceTable

_HEAD = (
    "                    hottest skin, K   hottest fat, K",
    " error               10 min 30 min   10 min 30 min   even-  tuning      fat in",
    "                                                      ness  points  band after",
)


def place(
    case: CaseFile,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="Folder for the page to print, the picture and JSON.", parser=folder
        ),
    ] = None,
    json_file: JsonFile = None,
) -> None:
    """Show what a wrong gap, tilt or shift, another body shape or fat thickness would do.

    Each error alone, at the same absorbed power, against the plan: hottest skin and fat after 10 and 30
    minutes, evenness, tuning by a generic circuit, minutes until the mean of fat reaches the band, and where
    the skin gets hottest. With --out it also writes what_to_watch.pdf, placement.json and the picture.
    """
    from evenfield.case import read_case
    from evenfield.cli.progress import shown_progress

    checked = read_case(case)
    with written(out, json_file) as kept:
        with shown_progress() as progress:
            from evenfield.tolerance import tolerance_table

            result = tolerance_table(checked, progress=lambda share: progress("placements", share))
            document = json_text(result)
            if kept.folder is not None:
                progress("report", 0.0)
                kept.add(*_write(result, document, kept.folder))
        kept.document(document)
    if kept.to_screen:
        typer.echo(document, nl=False)
        return
    print_table(result, kept.files)


def json_text(result: "ToleranceTable") -> str:
    """The table's JSON document as text; refuses to write what is not a number."""
    from evenfield.forecast import CAUTIONS

    return document_text(result.to_json() | {"cautions": list(CAUTIONS)})


def _write(result: "ToleranceTable", document: str, folder: Path) -> list[str]:
    from evenfield.report import save_picture, write_placement_page
    from evenfield.report.placement import placement_picture

    (folder / "placement.json").write_text(document, encoding="utf-8")
    write_placement_page(result, folder / "what_to_watch.pdf")
    pictures = save_picture(placement_picture(result), folder)
    return ["what_to_watch.pdf", "placement.json", *(path.name for path in pictures)]


def print_table(
    result: "ToleranceTable", files: "list[Path] | None" = None, console: "Console | None" = None
) -> None:
    """Print the plan, a table for each panel and for the body, and what to watch."""
    from rich.console import Console
    from rich.table import Table as Drawn
    from rich.text import Text

    from evenfield.applicator.words import panel_words
    from evenfield.cli.diagnose import OFFER
    from evenfield.forecast import CAUTIONS
    from evenfield.report import basis_lines
    from evenfield.report.placement_page import HOW, plan_rows, signs
    from evenfield.tolerance import what_to_watch

    console = console or Console(highlight=False)
    console.print(Text(result.case.title, style="bold"))
    for line in basis_lines(result.case):
        console.print(Text(line))
    console.print()
    console.print("As planned")
    plan = Drawn(box=None, padding=(0, 2, 0, 1), show_header=False)
    for what, value, detail in plan_rows(result):
        plan.add_row(what, Text(value, "bold"), detail)
    console.print(plan)
    for panel in dict.fromkeys(e.variation.panel for e in result.effects):
        console.print()
        console.print(Text(panel_words(panel).capitalize() if panel else "Body", "bold"))
        for line in _HEAD:
            console.print(Text(line, "italic"))
        for effect in (e for e in result.effects if e.variation.panel == panel):
            console.print(Text(_line(result, effect)), soft_wrap=True)
            if told := _elsewhere(result, effect):
                console.print(Text(f"     {told}", "dim"), soft_wrap=True)
    console.print()
    console.print(Text("What to watch", "bold"))
    listed = Drawn.grid(padding=(0, 1))
    for line in what_to_watch(result):
        listed.add_row(" –", Text(line))
    console.print(listed)
    console.print()
    console.print(Text(signs(result.case)))
    console.print()
    console.print(Text(OFFER))
    console.print()
    console.print(Text(f"{HOW} {CAUTIONS[0]}", style="italic"))
    for path in files or []:
        console.print(Text(f"Written: {path}"), soft_wrap=True)


def _line(result: "ToleranceTable", effect: "Effect") -> str:
    """One error and its changes, narrow enough for 80 columns."""
    from evenfield.tolerance.words import signed, until_band

    start = f" {effect.variation.words:18}"
    if effect.outcome is None:
        return f"{start}  not possible"
    d = result.change(effect)
    (skin, late_skin), (fat, late_fat) = ([signed(k, 1) for k in ks] for ks in (d.skin_k, d.fat_k))
    return (
        f"{start}{skin:>8}{late_skin:>7}{fat:>9}{late_fat:>7}{signed(d.evenness, 2):>8}"
        f"{signed(d.tuning, 0):>8}{until_band(effect.outcome.minutes_to_band):>12}"
    )


def _elsewhere(result: "ToleranceTable", effect: "Effect") -> str:
    """Why it is not possible; else where the skin is hottest if that is another place than in the plan, and
    the note."""
    if effect.outcome is None:
        return effect.reason
    moved = effect.outcome.where != result.base.where
    return "\n     ".join(
        filter(None, (f"hottest skin at the {effect.outcome.where}" if moved else "", effect.note))
    )
