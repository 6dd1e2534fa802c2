"""The summary of a forecast in the terminal, in the report's own words."""

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from evenfield.cli.diagnose import OFFER
from evenfield.forecast import Forecast
from evenfield.report import (
    assumption_lines,
    body_lines,
    findings,
    placement_lines,
    setting_line,
    shares,
    spot_list,
    tissue_line,
)

_NARROWEST = 100


def print_summary(f: Forecast, written: Sequence[Path], console: Console | None = None) -> None:
    """Print what the forecast says, what it assumes, the cautions, and which files were written."""
    console = console or Console(highlight=False)
    if not console.is_terminal:
        console.width = max(console.width, _NARROWEST)

    def say(text: str = "", style: str = "") -> None:
        console.print(Text(text), style=style or None)

    say(f.case.title, "bold")
    say(setting_line(f.case))
    for line in (tissue_line(f.case), *body_lines(f.case), *placement_lines(f.case)):
        say(line)
    say()
    table = Table(box=None, padding=(0, 2, 0, 0), show_header=True, header_style="italic")
    for name in ("", "", "assumed range", ""):
        table.add_column(name)
    for one in findings(f):
        table.add_row(one.what, Text(one.value, "bold"), one.assumed_range, one.detail)
    console.print(table)
    say()
    say("Absorbed power goes to " + ", ".join(f"{name} {100 * share:.0f} %" for name, share in shares(f)))
    minute = f"{f.minutes[f.picture]:g}"
    _listed(
        console, f"Hot spots at {minute} min", [f"{t}: {w}" for t in ("fat", "skin") for w in spot_list(f, t)]
    )
    say()
    say(OFFER)
    _listed(console, "Assumed, since nobody gave it", assumption_lines(f))
    _listed(console, "Cautions", f.cautions)
    _listed(console, "Written", [str(path) for path in written])


def _listed(console: Console, title: str, lines: Sequence[str]) -> None:
    if not lines:
        return
    console.print()
    console.print(Text(title, "bold"))
    listed = Table.grid(padding=(0, 1))
    for line in lines:
        listed.add_row(" –", Text(line))
    console.print(listed)
