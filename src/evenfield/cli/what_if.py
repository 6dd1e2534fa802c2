"""`evenfield what-if CASE.toml --gap inner=8`: what one change of placing does, solved anew."""

from collections.abc import Callable
from math import isfinite, radians
from typing import TYPE_CHECKING, Annotated

import typer

from evenfield.cli.options import CaseFile, JsonFile
from evenfield.cli.written import document_text, written

if TYPE_CHECKING:
    from evenfield.case import Case
    from evenfield.tolerance.answer import WhatIfAnswer

_Values = list[str] | None


def _option(name: str, unit: str, words: str) -> typer.models.OptionInfo:
    told = f"{words}, {unit}; PANEL=VALUE, or VALUE for every panel."
    found: typer.models.OptionInfo = typer.Option(name, metavar="P=V", help=told, show_default=False)
    return found


def what_if(
    case: CaseFile,
    gap: Annotated[_Values, _option("--gap", "mm", "New gap")] = None,
    tilt_across: Annotated[_Values, _option("--tilt-across", "°", "New tilt across")] = None,
    tilt_along: Annotated[_Values, _option("--tilt-along", "°", "New tilt along")] = None,
    along: Annotated[_Values, _option("--along", "mm", "Shift towards higher level")] = None,
    around: Annotated[
        _Values, _option("--around", "mm", "Shift round the region, towards larger angle")
    ] = None,
    drive: Annotated[_Values, _option("--drive", "signed", "New drive")] = None,
    power: Annotated[
        float | None, typer.Option("--power", metavar="W", help="Other highest power, W.", show_default=False)
    ] = None,
    minutes: Annotated[
        float | None, typer.Option("--minutes", help="Other minutes with power.", show_default=False)
    ] = None,
    json_file: JsonFile = None,
) -> None:
    """Say what another gap, tilt, shift, drive, power or time does for this client.

    Field and heat are solved anew, plan and change on the same grid, so that the change is well known; the
    temperatures themselves are the forecast's to tell.
    """
    from evenfield.case import read_case
    from evenfield.cli.refused import RefusedError
    from evenfield.tolerance.full_answer import full_answer
    from evenfield.tolerance.what_if import PanelChange, WhatIf

    checked = read_case(case)
    changes: dict[str, dict[str, float]] = {}
    for option, values, key, unit in (
        ("--gap", gap, "gap_m", 1e-3),
        ("--tilt-across", tilt_across, "tilt_across_rad", radians(1.0)),
        ("--tilt-along", tilt_along, "tilt_along_rad", radians(1.0)),
        ("--along", along, "along_m", 1e-3),
        ("--around", around, "around_m", 1e-3),
        ("--drive", drive, "drive", 1.0),
    ):
        for value in values or ():
            for panel, number in _read(checked, option, value):
                changes.setdefault(panel, {})[key] = unit * number
    asked = WhatIf(tuple(PanelChange(panel, **new) for panel, new in changes.items()), power, minutes)
    with written(None, json_file) as kept:
        try:
            answer = full_answer(checked, asked)
        except ValueError as error:
            raise RefusedError(str(error)) from error
        document = json_text(checked, answer)
        kept.document(document)
    if kept.to_screen:
        typer.echo(document, nl=False)
        return
    print_answer(checked, answer)
    for path in kept.files:
        typer.echo(f"Written: {path}")


def json_text(case: "Case", answer: "WhatIfAnswer") -> str:
    """The answer as a document, with what was asked and what is assumed."""
    from evenfield.forecast import CAUTIONS, asked_to_json

    return document_text(asked_to_json(case) | answer.to_json() | {"cautions": list(CAUTIONS)})


def _read(case: "Case", option: str, value: str) -> list[tuple[str, float]]:
    """Panels and the number that `PANEL=VALUE` or `VALUE` names."""
    from evenfield.cli.refused import RefusedError

    names = [panel.name for panel in case.panels]
    panel, sign, text = value.rpartition("=")
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = float("nan")
    if not isfinite(number):
        raise RefusedError(f"{option} {value}: write PANEL=VALUE with a number, as in {option} {names[0]}=8")
    if sign and panel not in names:
        raise RefusedError(f'{option} {value}: there is no panel "{panel}"; allowed: {", ".join(names)}')
    return [(name, number) for name in ([panel] if sign else names)]


def print_answer(case: "Case", answer: "WhatIfAnswer") -> None:
    """The plan, the change and the difference, a line for each result."""
    import numpy as np
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from evenfield.forecast import CAUTIONS
    from evenfield.report import basis_lines
    from evenfield.tolerance.table import difference
    from evenfield.tolerance.words import kelvin, signed, until_band

    console = Console(highlight=False)
    old, new = answer.base, answer.outcome
    d = difference(new, old, (np.inf,))
    console.print(Text(case.title, "bold"))
    for line in basis_lines(case):
        console.print(Text(line), soft_wrap=True)
    console.print(Text(f"{answer.asked[:1].upper()}{answer.asked[1:]}."), soft_wrap=True)
    console.print()
    table = Table(box=None)
    for name in ("", "plan", "changed", "change"):
        table.add_column(name, justify="right" if name else "left")
    celsius: Callable[[float], str] = "{:.1f} °C".format
    for words, before, after, change in (
        ("minutes with power", f"{old.minute[-1]:g}", f"{new.minute[-1]:g}", ""),
        ("hottest skin at the end", celsius(old.skin_c[-1]), celsius(new.skin_c[-1]), kelvin(d.skin_k[0])),
        ("hottest fat at the end", celsius(old.fat_c[-1]), celsius(new.fat_c[-1]), kelvin(d.fat_k[0])),
        (
            "mean of fat in the band after",
            until_band(old.minutes_to_band),
            until_band(new.minutes_to_band),
            "",
        ),
        ("evenness", f"{old.evenness:.2f}", f"{new.evenness:.2f}", signed(d.evenness, 2)),
        ("tuning, generic circuit", f"{old.tuning_percent:.0f} %", f"{new.tuning_percent:.0f} %", ""),
    ):
        table.add_row(words, before, after, change)
    console.print(table)
    console.print(
        Text(f"\nSkin is hottest at the {new.where}; as planned at the {old.where}."), soft_wrap=True
    )
    console.print(
        Text(
            "Plan and change are solved on a grid coarser than the forecast's: trust the change more than "
            "the temperatures. Both absorb the same power; what other tuning does to it is not in it."
        ),
        soft_wrap=True,
    )
    console.print(Text(f"\n{CAUTIONS[0]}", "italic"), soft_wrap=True)
