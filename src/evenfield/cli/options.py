"""Arguments and options that several commands have."""

from pathlib import Path
from typing import Annotated

import typer

from evenfield.cli.refused import RefusedError


def folder(given: str) -> Path:
    """The folder named by an option; RefusedError where nothing is named, which would be the current one."""
    if not given.strip():
        raise RefusedError("--out is empty; allowed: the name of a folder (. is the current one)")
    return Path(given)


CaseFile = Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case file.", show_default=False)]
JsonFile = Annotated[
    str | None,
    typer.Option("--json", metavar="FILE", help="File for the JSON alone; - prints it.", show_default=False),
]
Seed = Annotated[int, typer.Option(help="The same seed gives the same numbers.", min=0)]
Workers = Annotated[
    int | None, typer.Option(help="Local processes; all processors if not given.", min=1, show_default=False)
]
DaskAddress = Annotated[
    str | None,
    typer.Option("--dask", metavar="ADDRESS", help="Scheduler of a Dask cluster.", show_default=False),
]
SkinLimit = Annotated[float, typer.Option(help="The clinic's limit for skin, °C.", min=30.0, max=45.0)]
SKIN_LIMIT_C = 39.0
"""As in the practice profile that comes with the package."""
