"""`evenfield diagnose CASE.toml --set-power W --tuning %`: why the device shows this tuning."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from evenfield.cli.options import CaseFile
from evenfield.cli.written import document_text

if TYPE_CHECKING:
    from evenfield.case import Case
    from evenfield.tolerance import Diagnosis

OFFER = (
    "If the device shows another tuning: evenfield diagnose CASE.toml --set-power W --tuning PERCENT lists "
    "the likely causes, each with its check."
)
_LEAST = 0.01
"""Causes of less weight are not shown."""


def diagnose(
    case: CaseFile,
    set_power: Annotated[
        float, typer.Option("--set-power", metavar="W", help="Power the device is set to, in W.")
    ],
    tuning: Annotated[
        float, typer.Option("--tuning", metavar="%", help="Tuning the device shows, 0 to 100 %.")
    ],
    device: Annotated[
        str,
        typer.Option("--device", metavar="FILE", help="A device profile of your own (TOML)."),
    ] = "generic",
    json_file: Annotated[
        str | None,
        typer.Option("--json", metavar="FILE", help="File for JSON; - prints it.", show_default=False),
    ] = None,
) -> None:
    """List the likely causes of the tuning shown, the likeliest first, each with the check that tells it.

    Weights order a search; they are no measurement. The generic device profile stands for no device.
    """
    from evenfield.case import read_case
    from evenfield.cli.draft import draft
    from evenfield.cli.progress import shown_progress
    from evenfield.cli.refused import RefusedError
    from evenfield.field import DeviceError, load_device_profile

    checked = read_case(case)
    try:
        profile = load_device_profile(device)
    except DeviceError as error:
        raise RefusedError(str(error)) from error
    with shown_progress() as progress:
        from evenfield.tolerance import diagnosis

        try:
            found = diagnosis(
                checked, set_power, tuning, profile, progress=lambda share: progress("placements", share)
            )
        except ValueError as error:
            raise RefusedError(str(error)) from error
    if json_file is not None:
        text = document_text(found.to_json())
        if json_file == "-":
            typer.echo(text, nl=False)
            return
        with draft(Path(json_file)) as path:
            path.write_text(text, encoding="utf-8")
    print_diagnosis(checked, found)
    if json_file is not None:
        typer.echo(f"Written: {json_file}")


def print_diagnosis(case: "Case", found: "Diagnosis") -> None:
    """Print the causes in order, each with its check."""
    from rich.console import Console
    from rich.padding import Padding
    from rich.text import Text

    from evenfield.forecast import CAUTIONS

    console = Console(highlight=False)
    console.print(Text(case.title, "bold"))
    console.print(
        Text(
            f"Shown: {found.shown_percent:g} % at {found.set_power_w:g} W set. To expect as planned: "
            f"{found.expected.percent:.0f} %, {found.expected.caution}."
        )
    )
    console.print()
    shown = [c for c in found.causes if c.weight >= _LEAST]
    for number, cause in enumerate(shown, start=1):
        console.print(Text(f"{number}. {cause.hypothesis.text} ({100 * cause.weight:.0f} %)", "bold"))
        console.print(Padding(Text(f"Check: {cause.hypothesis.check}"), (0, 0, 0, 3)))
        if cause.predicted_percent is not None and cause.absorbed_w is not None:
            low, mid, high = cause.absorbed_w
            told = (
                f"Would show {cause.predicted_percent:.0f} %. With the tuning shown the body would then take "
                f"up about {mid:.0f} W ({low:.0f} to {high:.0f} W)."
            )
            console.print(Padding(Text(told, "dim"), (0, 0, 0, 3)))
    console.print()
    console.print(Text(f"{found.caution} {CAUTIONS[0]}", "italic"))
