"""`evenfield place CASE.toml`: what the usual errors of placing would do to this plan."""

from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from evenfield.tolerance import Effect, ToleranceTable


def place(
    case: Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case file.", show_default=False)],
) -> None:
    """Show what a wrong gap, tilt or shift, another body shape or fat thickness would do.

    Each error alone, at the same absorbed power, against the plan: hottest skin and fat after 10 and 30
    minutes, evenness, minutes until the mean of fat reaches the band, and where the skin gets hottest.
    """
    from rich.console import Console
    from rich.progress import Progress

    from evenfield.case import read_case
    from evenfield.tolerance import tolerance_table

    checked = read_case(case)
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("placements", total=1.0)
        result = tolerance_table(checked, progress=lambda share: progress.update(task, completed=share))
    _print(result)


def _print(result: "ToleranceTable") -> None:
    from rich.console import Console
    from rich.table import Table as Drawn
    from rich.text import Text

    from evenfield.forecast import CAUTIONS

    console = Console(highlight=False)
    if not console.is_terminal:
        console.width = max(console.width, 150)
    base = result.base
    console.print(Text(result.case.title, style="bold"))
    console.print(
        f"As planned: hottest skin {base.skin_c[0]:.1f} °C after 10 min, {base.skin_c[1]:.1f} °C after 30 "
        f"min ({base.where}); hottest fat {base.fat_c[0]:.1f} and {base.fat_c[1]:.1f} °C; evenness "
        f"{base.evenness:.2f}; mean of fat {_band(base.minutes_to_band)}.",
        soft_wrap=True,
    )
    for panel in dict.fromkeys(e.variation.panel for e in result.effects):
        drawn = Drawn(
            title=f"{panel} panel" if panel else "Body", title_justify="left", title_style="bold", box=None
        )
        for name in ("error", "skin 10 min", "skin 30 min", "fat 10 min", "fat 30 min", "evenness"):
            drawn.add_column(name, justify="left" if name == "error" else "right")
        drawn.add_column("fat in band")
        drawn.add_column("hottest skin")
        for effect in (e for e in result.effects if e.variation.panel == panel):
            drawn.add_row(*map(Text, _row(result, effect)))
        console.print(drawn)
    console.print()
    for line in what_to_watch(result):
        console.print(Text(f" – {line}"))
    console.print(
        Text(
            "\nChanges are computed at the same absorbed power, one error at a time, on the grid nested in "
            "the forecast's own. " + CAUTIONS[0],
            style="italic",
        )
    )


def _band(minutes: float) -> str:
    return "does not reach the band" if isnan(minutes) else f"in the band after {minutes:.0f} min"


def _row(result: "ToleranceTable", effect: "Effect") -> list[str]:
    if effect.outcome is None:
        return [
            effect.variation.words,
            "",
            "",
            "",
            "",
            "",
            "",
            "not possible: the panel would touch or leave the region",
        ]
    skin_30, fat_30, skin_10, fat_10, evenness = result.change(effect)
    minutes = effect.outcome.minutes_to_band
    return [
        effect.variation.words,
        *(f"{v:+.1f} K" for v in (skin_10, skin_30, fat_10, fat_30)),
        f"{evenness:+.2f}",
        "not reached" if isnan(minutes) else f"{minutes:.0f} min",
        effect.outcome.where.removesuffix(", skin"),
    ]


def what_to_watch(result: "ToleranceTable", count: int = 3) -> list[str]:
    """The errors that warm the skin most, one per panel and kind, in words."""
    worst: dict[tuple[str, str], Effect] = {}
    for effect in result.effects:
        if effect.outcome is None:
            continue
        key = (effect.variation.panel, effect.variation.group)
        if key not in worst or result.change(effect)[0] > result.change(worst[key])[0]:
            worst[key] = effect
    ranked = sorted(worst.values(), key=lambda e: -result.change(e)[0])[:count]
    lines = []
    for effect in ranked:
        assert effect.outcome is not None
        rise = result.change(effect)[0]
        if rise < 0.3:
            continue
        subject = f"{effect.variation.panel} panel, " if effect.variation.panel else ""
        lines.append(
            f"Watch: {subject}{effect.variation.words}: hottest skin {rise:+.1f} K after 30 min, at the "
            f"{effect.outcome.where.removesuffix(', skin')}."
        )
    impossible = [e for e in result.effects if e.outcome is None]
    if impossible:
        names = ", ".join(f"{e.variation.panel} {e.variation.words}" for e in impossible)
        lines.append(f"Not possible at this gap, the panel would touch or leave the region: {names}.")
    return lines or ["None of the usual errors warms the skin by 0.3 K or more."]
