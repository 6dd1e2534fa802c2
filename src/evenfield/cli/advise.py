"""`evenfield advise CASE.toml`: a placement, power and minutes that heat fat most evenly within a bound."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenfield.cli.options import SKIN_LIMIT_C, CaseFile, DaskAddress, JsonFile, Seed, SkinLimit, Workers
from evenfield.cli.refused import RefusedError
from evenfield.cli.uncertainty import shown_steps, work_on
from evenfield.cli.written import document_text, written

if TYPE_CHECKING:
    from evenfield.tolerance.advised import Option, PlacementAdvice


def advise(
    case: CaseFile,
    skin_limit: SkinLimit = SKIN_LIMIT_C,
    chance: Annotated[
        float, typer.Option(help="Greatest chance of skin above the limit, %.", min=0.5, max=50.0)
    ] = 5.0,
    gap: Annotated[int, typer.Option(help="How far a gap may leave the plan, mm.", min=0, max=6)] = 4,
    tilt: Annotated[int, typer.Option(help="How far a tilt may leave the plan, degrees.", min=0, max=5)] = 3,
    minutes: Annotated[
        float | None, typer.Option(help="Longest visit, min; the plan's if not given.", min=10.0, max=60.0)
    ] = None,
    seed: Seed = 0,
    workers: Workers = None,
    dask: DaskAddress = None,
    json_file: JsonFile = None,
) -> None:
    """Search placement, power and minutes that heat fat most evenly in the band.

    The chance of skin above the limit stays below the bound for the spread of bodies, tissues and hands.
    Shows a short list with what each choice costs. Advice, to be checked against the device's manual.
    """
    from evenfield.body import InputError
    from evenfield.case import read_case

    checked = read_case(case)
    with written(None, json_file) as kept:
        with shown_steps() as progress, work_on(workers, dask) as work:
            from evenfield.tolerance.advised import Wish
            from evenfield.tolerance.search import search

            wish = Wish(
                skin_limit_c=skin_limit, chance=chance / 100.0, gap_mm=gap, tilt_deg=tilt, minutes=minutes
            )
            try:
                advice = search(checked, wish, work, seed=seed, progress=progress)
            except InputError as error:
                raise RefusedError(f"{case}: {error}") from error
        document = json_text(advice)
        kept.document(document)
    if kept.to_screen:
        typer.echo(document, nl=False)
        return
    print_advice(advice)
    for path in kept.files:
        typer.echo(f"Written: {path}")


def json_text(advice: "PlacementAdvice") -> str:
    """The advice as a document."""
    from dataclasses import asdict

    from evenfield.forecast import CAUTIONS, asked_to_json
    from evenfield.tolerance.advice_words import power_rests_on, trades

    document = {
        **asked_to_json(advice.options[0].case),
        "wish": asdict(advice.wish),
        "options": [_option(o) for o in advice.options],
        "trades": trades(advice),
        "power_rests_on": power_rests_on(advice),
        "placements_tried": advice.tried,
        "emulator_error": None if advice.error is None else asdict(advice.error),
        "spread": [str(u) for u in advice.spread.unknowns],
        "caution": advice.caution,
        "cautions": list(CAUTIONS),
    }
    return document_text(document)


def _option(o: "Option") -> dict[str, Any]:
    from evenfield.tolerance.advice_words import told

    def three(values: Any) -> dict[str, float]:
        return {n: round(float(v), 3) for n, v in zip(("5", "50", "95"), values, strict=True)}

    return {
        "kind": o.kind,
        "words": o.words,
        "placement": told(o),
        "moves": [{"panel": p, "way": w, "by_mm_or_deg": v} for (p, w), v in o.moves.items()],
        "course": o.course,
        "start_s": list(o.curve.start_s),
        "power_w": list(o.curve.watts),
        "minutes": o.minutes,
        "chance_skin_above_limit": round(o.chance, 4),
        "minutes_in_band": three(o.minutes_in_band),
        "minutes_in_band_mean": round(o.score, 2),
        "fat_zones_apart_k": three(o.apart_k),
        "hottest_skin_c": three(o.skin_c),
        "hottest_fat_c": three(o.fat_c),
        "mean_fat_at_end_c": three(o.mean_fat_c),
    }


def print_advice(advice: "PlacementAdvice") -> None:
    """What was asked, the options with what each costs, and whose limits they keep."""
    from rich.console import Console
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    from evenfield.forecast import CAUTIONS
    from evenfield.report import basis_lines
    from evenfield.tolerance.advice_words import power_rests_on, power_words, told, trades

    console = Console(highlight=False)
    wish = advice.wish
    console.print(Text(advice.options[0].case.title, style="bold"))
    console.print(
        f"Asked: fat evenly in the band, skin above {wish.skin_limit_c:g} °C in at most "
        f"{100 * wish.chance:g} % of the bodies, tissues and placements that fit the case. "
        f"{advice.tried} placements tried. Limit and chance are the clinic's to set: --skin-limit, --chance."
    )
    for line in basis_lines(advice.options[0].case):
        console.print(Text(line))
    for o in advice.options:
        console.print()
        console.print(Text(o.words[:1].upper() + o.words[1:], style="bold"))
        rows = Table(box=None, padding=(0, 1, 0, 0), show_header=False)
        rows.add_row("place", told(o))
        rows.add_row("power", power_words(o.curve))
        rows.add_row(
            "skin",
            f"hottest {_with_range(o.skin_c)} °C; above {wish.skin_limit_c:g} °C in {100 * o.chance:.1f} %",
        )
        rows.add_row(
            "fat",
            f"zones in the band {_with_range(o.minutes_in_band, 0)} min, mean {o.score:.1f}; "
            f"warmest less coolest zone {o.apart_k[1]:.1f} K; hottest {_with_range(o.fat_c)} °C",
        )
        console.print(Padding(rows, (0, 0, 0, 1)))
    console.print()
    console.print(Text("What is traded", style="bold"))
    listed = Table.grid(padding=(0, 1))
    for line in trades(advice):
        listed.add_row(" –", Text(line))
    console.print(listed)
    console.print()
    console.print("Medians of the members, in brackets 5 to 95 %.")
    console.print(Text(power_rests_on(advice)))
    if advice.error is not None:
        console.print(
            f"Error of the short cut, measured on {advice.error.members} members computed in full: hottest "
            f"skin {advice.error.hottest_skin_k[0]:.2f} K, fat {advice.error.hottest_fat_k[0]:.2f} K "
            "(root mean square)."
        )
    console.print()
    console.print(Text(f"{advice.caution} {CAUTIONS[0]}", style="italic"))


def _with_range(values: Any, digits: int = 1) -> str:
    low, mid, high = (float(v) for v in values)
    return f"{mid:.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"
