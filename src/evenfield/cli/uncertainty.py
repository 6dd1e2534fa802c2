"""`evenfield uncertainty CASE.toml`: how sure the forecast is, and what it hangs on."""

from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from evenfield.cli.options import (
    SKIN_LIMIT_C,
    CaseFile,
    DaskAddress,
    JsonFile,
    Seed,
    SkinLimit,
    Workers,
    folder,
)
from evenfield.cli.progress import STEPS as FORECAST_STEPS
from evenfield.cli.progress import shown_progress
from evenfield.cli.written import document_text, written

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from evenfield.forecast import Forecast
    from evenfield.tolerance.ensemble import Ensemble
    from evenfield.tolerance.indices import Indices
    from evenfield.tolerance.minutes_power import MinutesPower
    from evenfield.tolerance.parallel import Runner

STEPS = {
    "nominal": "the plan itself",
    "shapes": "how heat spreads",
    "fields": "fields of other bodies and placements",
    "members": "members of the ensemble",
    "check": "check against members computed in full",
    "power levels": "power levels",
    "placements": "placements",
    "courses": "courses of power",
}
_WIDE = ("absorbed_fraction", "fat_kind")
"""Unknowns that are told with the numbers."""
OutFolder = Annotated[
    Path | None,
    typer.Option(
        "--out", metavar="DIR", help="Folder for figures and JSON.", parser=folder, show_default=False
    ),
]


def uncertainty(
    case: CaseFile,
    members: Annotated[int, typer.Option(help="Members of the ensemble.", min=8, max=65536)] = 512,
    seed: Seed = 0,
    skin_limit: SkinLimit = SKIN_LIMIT_C,
    workers: Workers = None,
    dask: DaskAddress = None,
    json_file: JsonFile = None,
    out: OutFolder = None,
) -> None:
    """Say how sure the forecast is: some hundreds of bodies, tissues and placements that fit the case.

    Prints 5, 50 and 95 % of the results and what they hang on. With --out it writes figures and
    uncertainty.json: the forecast's document with the uncertainty of everything that was varied and the map
    of minutes against power. Nothing is written if it is cancelled.
    """
    from evenfield.case import read_case

    checked = read_case(case)
    with written(out, json_file) as kept:
        with shown_steps() as progress, work_on(workers, dask) as work:
            from evenfield.forecast import forecast
            from evenfield.tolerance.ensemble import ensemble
            from evenfield.tolerance.indices import ensemble_indices
            from evenfield.tolerance.minutes_power import minutes_power

            anchor = forecast(checked, progress=progress, with_band=False)
            result = ensemble(checked, work, members=members, seed=seed, anchor=anchor, progress=progress)
            indices = ensemble_indices(result)
            levels = minutes_power(result, work, skin_limit_c=skin_limit, progress=progress)
            document = json_text(anchor, result, indices, levels)
            if kept.folder is not None:
                from evenfield.report.figures import save
                from evenfield.report.minutes_power import draw_minutes_power
                from evenfield.report.uncertainty import draw_bands, draw_drivers

                figures = {
                    "bands": draw_bands(result, skin_limit),
                    "drivers": draw_drivers(indices),
                    "minutes_power": draw_minutes_power(levels),
                }
                for name, figure in figures.items():
                    for ending in (".svg", ".png"):
                        save(figure, kept.folder / f"{name}{ending}")
                (kept.folder / "uncertainty.json").write_text(document, encoding="utf-8")
                kept.add(*sorted(path.name for path in kept.folder.iterdir()))
        kept.document(document)
    if kept.to_screen:
        typer.echo(document, nl=False)
        return
    print_uncertainty(result, indices, skin_limit, kept.files)


@contextmanager
def work_on(workers: int | None, dask: str | None) -> "Iterator[Runner]":
    """What does the tasks; a cluster that cannot be used is told in one sentence."""
    from evenfield.cli.refused import RefusedError
    from evenfield.tolerance.parallel import ClusterError, runner

    with ExitStack() as stack:
        try:
            work = stack.enter_context(runner(workers, dask))
        except ClusterError as error:
            raise RefusedError(str(error)) from error
        yield work


@contextmanager
def shown_steps() -> "Iterator[Callable[[str, float], None]]":
    """Progress with the words of these commands' steps added."""
    with shown_progress(FORECAST_STEPS | STEPS) as tell:
        yield tell


def json_text(
    anchor: "Forecast", result: "Ensemble", indices: "Mapping[str, Indices]", levels: "MinutesPower"
) -> str:
    """The forecast's document with this uncertainty in it; refuses to write what is not a number."""
    from evenfield.forecast import forecast_to_json
    from evenfield.tolerance.uncertainty_json import minutes_power_to_json, uncertainty_to_json

    document = forecast_to_json(anchor)
    document["uncertainty"] = {
        **uncertainty_to_json(result, indices),
        "minutes_power": minutes_power_to_json(levels),
    }
    return document_text(document)


def print_uncertainty(
    result: "Ensemble", indices: "Mapping[str, Indices]", skin_limit_c: float, files: list[Path]
) -> None:
    """Ranges of every result, how often skin passes the limit, and what they hang on."""
    import numpy as np
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from evenfield.forecast import CAUTIONS
    from evenfield.report import basis_lines
    from evenfield.tolerance.indices import in_words
    from evenfield.tolerance.result_rows import result_rows

    console = Console(highlight=False)
    if not console.is_terminal:
        console.width = max(console.width, 120)
    console.print(Text(result.case.title, style="bold"))
    for line in basis_lines(result.case):
        console.print(Text(line), soft_wrap=True)
    console.print(
        f"Varied among the members: {len(result.spread.unknowns)} unknowns, with the widest guesses"
    )
    for unknown in (u for u in result.spread.unknowns if u.key in _WIDE):
        console.print(Text(f" – {unknown}"), soft_wrap=True)
    table = Table(box=None)
    table.add_column(f"of {result.members} members", justify="left")
    for name in ("5 %", "50 %", "95 %"):
        table.add_column(name, justify="right")
    for words, cells in result_rows(result):
        table.add_row(words, *cells)
    console.print(table)
    above = float(np.mean(result.results()["hottest_skin_c"] > skin_limit_c))
    console.print(
        f"Skin above {skin_limit_c:g} °C at some time: {100 * above:.0f} % of the members. "
        "The limit is the clinic's to set: --skin-limit.\n"
    )
    for line in in_words(indices):
        console.print(Text(f" – {line}"), soft_wrap=True)
    if result.error is not None:
        console.print(
            f"\nError of the short cut, measured on {result.error.members} members computed in full: hottest "
            f"skin {result.error.hottest_skin_k[0]:.2f} K, fat {result.error.hottest_fat_k[0]:.2f} K, "
            f"zone means {result.error.zone_mean_k[0]:.2f} K, evenness {result.error.evenness[0]:.3f} "
            "(root mean square).",
            soft_wrap=True,
        )
    console.print(Text(f"\n{CAUTIONS[0]}", style="italic"), soft_wrap=True)
    for path in files:
        console.print(f"Written: {path}", soft_wrap=True)
