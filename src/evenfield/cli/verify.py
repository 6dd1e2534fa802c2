"""`evenfield verify`: every outside check, as a table or as JSON."""

from typing import TYPE_CHECKING, Annotated

import typer

from evenfield.cli.refused import RefusedError
from evenfield.cli.written import document_text, written

if TYPE_CHECKING:
    from rich.console import Console

    from evenfield.verify.checks import Check, Result

_TABLE_FROM = 120
"""Columns of a terminal from which eight columns of a table can be read."""


def verify(
    select: Annotated[
        list[str] | None,
        typer.Option("--select", metavar="NAME", help="Only this check or subject; may be repeated."),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the results as JSON, or write them into FILE.")
    ] = False,
    file: Annotated[
        str | None,
        typer.Argument(metavar="FILE", help="With --json: the file; - prints.", show_default=False),
    ] = None,
) -> None:
    """Check what is computed against published values, closed forms and other programs.

    Exit status 1 if a check fails. A check whose reference is not installed is shown as not run.
    """
    from evenfield.verify import checks, table

    if file is not None and not as_json:
        raise RefusedError(f"{file}: a file is only written with --json; allowed: --json {file}")
    lone = (file or "-") if as_json else None
    with written(None, lone) as kept:
        try:
            results = checks.run_checks(select or None, None if kept.to_screen else _tell)
        except ValueError as error:
            if select and str(error).startswith("no check is called"):
                raise RefusedError(str(error)) from error
            raise
        document = document_text(table.to_json(results))
        kept.document(document)
    if kept.to_screen:
        typer.echo(document, nl=False)
    else:
        _print(results)
    for path in kept.files:
        typer.echo(f"Written: {path}")
    raise typer.Exit(table.exit_status(results))


def _tell(check: "Check", index: int, count: int) -> None:
    import sys

    if sys.stderr.isatty():
        print(f"\r\x1b[K{index + 1}/{count} {check.what[:90]}", end="", file=sys.stderr, flush=True)


def _print(results: "list[Result]", console: "Console | None" = None) -> None:
    """The checks by subject: a table, or below `_TABLE_FROM` columns a few lines for each check."""
    import sys
    from itertools import groupby

    from rich.console import Console
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    from evenfield.verify import table
    from evenfield.verify.checks import Status

    if sys.stderr.isatty():
        print("\r\x1b[K", end="", file=sys.stderr, flush=True)
    if console is None:
        console = Console(highlight=False)
        if not console.is_terminal:
            console.width = max(console.width, 160)
    for subject, group in groupby(results, key=lambda result: result.check.subject):
        if console.width < _TABLE_FROM:
            console.print(Text(str(subject), style="bold"))
            for result in group:
                what, expected, got, error, tolerance, source, label, status = table.row(result)
                console.print(Text(what, style="bold reverse" if result.status is Status.FAILED else ""))
                numbers = f"{status}: expected {expected}, got {got}, error {error}, tolerance {tolerance}"
                for line in (numbers, f"{source} [{label}]"):
                    console.print(Padding(Text(line), (0, 0, 0, 3)))
            console.print()
            continue
        drawn = Table(
            title=str(subject), title_justify="left", title_style="bold", box=None, padding=(0, 2, 0, 0)
        )
        for name in table.COLUMNS:
            drawn.add_column(name, header_style="italic", overflow="fold")
        for result in group:
            style = "bold reverse" if result.status is Status.FAILED else ""
            drawn.add_row(*map(Text, table.row(result)), style=style)
        console.print(drawn)
        console.print()
    console.print(table.summary(results))
