"""The picture of the tolerance table: a field for each usual error with the change of hottest skin and fat.

One row for each panel and kind of error, from the largest error to the one side to the largest to the other.
Every field holds its number, so nothing is told by colour alone; orange is hotter, purple cooler, a pair of
colours that reads the same for all common kinds of colour vision.
"""

from __future__ import annotations

from dataclasses import dataclass

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from evenfield.applicator.words import panel_words
from evenfield.report.figures import Picture
from evenfield.report.look import HAIR, INK, SOFT, placed_axes, plain_sheet, styled
from evenfield.tolerance import Effect, ToleranceTable, what_to_watch
from evenfield.tolerance.words import signed

_COLOURS = "PuOr_r"
_FULL_K = 5.0
"""Change at which the colour is full."""
_ROW_MM, _LABEL_MM, _BETWEEN_MM, _TOP_MM = 7.2, 27.0, 4.0, 7.0
_COLUMNS = 6


@dataclass(frozen=True)
class _Row:
    """Effects of one kind of error on one panel, and whether a panel's rows begin here."""

    panel: str
    group: str
    effects: tuple[Effect, ...]
    first: bool


def placement_picture(table: ToleranceTable) -> Picture:
    """The picture with its words."""
    told = " ".join(what_to_watch(table))
    return Picture(
        "placement",
        "What the usual errors of placing would do",
        "Change of hottest skin and hottest fat after 30 minutes for each panel's gap, tilts and shifts, for "
        f"bolstering and fat thickness, a field with its number for each size of error. {told}",
        lambda: draw_placement(table),
    )


def draw_placement(table: ToleranceTable, width_mm: float = 180.0) -> Figure:
    """Skin on the left, fat on the right."""
    with styled():
        rows = _rows(table)
        high = _ROW_MM * len(rows)
        wide = 0.5 * (width_mm - _LABEL_MM - _BETWEEN_MM)
        figure = plain_sheet(width_mm, high + _TOP_MM + 1.0)
        for side, tissue in enumerate(("skin", "fat")):
            left = _LABEL_MM + side * (wide + _BETWEEN_MM)
            ax = placed_axes(figure, left, 0.5, wide, high)
            _draw(ax, rows, table, tissue)
            ax.set_title(f"Hottest {tissue} after 30 min, change in K", pad=4)
            if side:
                ax.tick_params(labelleft=False)
        return figure


def _rows(table: ToleranceTable) -> list[_Row]:
    grouped: dict[tuple[str, str], list[Effect]] = {}
    for effect in table.effects:
        grouped.setdefault((effect.variation.panel, effect.variation.group), []).append(effect)
    rows: list[_Row] = []
    for (panel, group), effects in grouped.items():
        rows.append(_Row(panel, group, tuple(effects), not rows or rows[-1].panel != panel))
    return rows


def _draw(ax: Axes, rows: list[_Row], table: ToleranceTable, tissue: str) -> None:
    colours, norm = mpl.colormaps[_COLOURS], Normalize(-_FULL_K, _FULL_K, clip=True)
    for n, row in enumerate(rows):
        width = _COLUMNS / len(row.effects)
        for m, effect in enumerate(row.effects):
            value, fill = "–", "white"
            if effect.outcome is not None:
                d = table.change(effect)
                change = (d.skin_k if tissue == "skin" else d.fat_k)[-1]
                value = signed(change, 1)
                # the middle of the map only, so that ink stays readable on it
                fill = mpl.colors.to_hex(colours(0.5 + 0.6 * (float(norm(change)) - 0.5)))
            ax.add_patch(
                Rectangle((m * width, n), width, 1.0, facecolor=fill, edgecolor="white", linewidth=1.2)
            )
            middle = (m + 0.5) * width
            ax.text(middle, n + 0.3, effect.variation.short, ha="center", va="center", size=6, color=INK)
            ax.text(middle, n + 0.66, value, ha="center", va="center", size=8, weight="bold", color=INK)
        if row.first and n:
            ax.axhline(n, color=SOFT, lw=0.8)
    ax.set_xlim(0, _COLUMNS)
    ax.set_ylim(len(rows), 0)
    ax.set_xticks([])
    ax.set_yticks([n + 0.5 for n in range(len(rows))], [_label(row) for row in rows])
    ax.tick_params(axis="y", length=0)
    ax.spines[["left", "bottom"]].set_color(HAIR)


def _label(row: _Row) -> str:
    if row.panel and row.first:
        return f"{panel_words(row.panel)}\n{row.group}"
    return row.group
