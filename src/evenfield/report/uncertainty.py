"""Figures of an ensemble: temperature against time with its band, and what drives the results."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from numpy.typing import NDArray

from evenfield.report.look import ACCENT, HAIR, INK, LINES, SOFT, TINT, sheet, styled
from evenfield.tolerance.ensemble import Ensemble, quantiles
from evenfield.tolerance.indices import RESULT_WORDS, Indices

Floats = NDArray[np.float64]

SHOWN = 6
"""How many unknowns a result's bars show."""


def draw_bands(e: Ensemble, skin_limit_c: float | None = None, width_mm: float = 180.0) -> Figure:
    """Mean of fat and hottest skin and fat against time: median and 5 to 95 % of members."""
    with styled():
        figure = sheet(width_mm, 68.0)
        left, right = figure.subplots(1, 2, sharex=True)
        _mean_of_fat(left, e)
        _hottest(right, e, skin_limit_c)
        left.set_ylabel("temperature, °C")
        handles: list[Line2D | Patch] = [
            Line2D([], [], color=SOFT, label="median of members"),
            Patch(color=SOFT, alpha=0.25, lw=0, label="5 to 95 %"),
            Line2D([], [], color=SOFT, lw=0.9, ls=(0, (1, 2)), label="forecast"),
            Patch(color=TINT, lw=0, label="band wanted in fat"),
        ]
        figure.legend(handles=handles, loc="outside lower left", ncols=4, columnspacing=1.4, handlelength=1.8)
        return figure


def _mean_of_fat(ax: Axes, e: Ensemble) -> None:
    ax.axhspan(*e.case.session.band_c, color=TINT, lw=0, zorder=0)
    for number, panel in enumerate(e.case.panels):
        colour = LINES[number % len(LINES)]
        _band(ax, e, quantiles(e.mean_c("fat", panel.name)), colour, f"under {panel.name}", number)
        rows = e.of_tissue("fat", panel.name)
        ax.plot(
            e.minutes, e.nominal.zone_mean_c[0][:, rows].mean(axis=1), color=colour, lw=0.9, ls=(0, (1, 2))
        )
    _finish(ax, e, "Mean of fat")


def _hottest(ax: Axes, e: Ensemble, skin_limit_c: float | None) -> None:
    ax.axhspan(*e.case.session.band_c, color=TINT, lw=0, zorder=0)
    for n, tissue in enumerate(("skin", "fat")):
        colour = LINES[3 + n]
        _band(ax, e, quantiles(e.visit.hottest_c[:, :, n]), colour, f"hottest {tissue}", 0)
        ax.plot(e.minutes, e.nominal.hottest_c[0, :, n], color=colour, lw=0.9, ls=(0, (1, 2)))
    if skin_limit_c is not None:
        ax.axhline(skin_limit_c, color=INK, lw=0.8, ls=(0, (6, 3)))
        ax.text(
            0.99 * e.minutes[-1], skin_limit_c, "skin limit", ha="right", va="bottom", color=INK, fontsize=7
        )
    _finish(ax, e, "Hottest point")


def _band(ax: Axes, e: Ensemble, rows: Floats, colour: str, label: str, number: int) -> None:
    low, middle, high = rows
    ax.fill_between(e.minutes, low, high, color=colour, alpha=0.18, lw=0)
    ax.plot(e.minutes, middle, color=colour, lw=2.2 - 0.8 * min(number, 1), label=label)


def _finish(ax: Axes, e: Ensemble, title: str) -> None:
    ax.set_xlim(0, e.minutes[-1])
    ax.grid(axis="y", color=HAIR, lw=0.4)
    ax.set_axisbelow(True)
    ax.set_title(title)
    ax.set_xlabel("time, min")
    ax.legend(loc="lower right")


def draw_drivers(indices: Mapping[str, Indices], width_mm: float = 180.0) -> Figure:
    """For each told result the unknowns that drive it most: first-order index dark, total index light."""
    with styled():
        told = [name for name in RESULT_WORDS if name in indices]
        rows = (len(told) + 1) // 2
        figure = sheet(width_mm, 12.0 + 36.0 * rows)
        axes = figure.subplots(rows, 2, squeeze=False).ravel()
        for ax, name in zip(axes, told, strict=False):
            one = indices[name]
            for row, (words, first, total) in enumerate(one.ranked()[:SHOWN]):
                ax.barh(row, 100 * total, height=0.66, color=TINT, edgecolor=ACCENT, lw=0.5)
                ax.barh(row, 100 * first, height=0.66, color=ACCENT, lw=0)
                ax.text(100 * total + 1.5, row, f"{words} {100 * total:.0f} %", va="center", fontsize=7)
            ax.set_xlim(0, 170)
            ax.set_ylim(SHOWN - 0.4, -0.6)
            ax.set_yticks([])
            ax.set_xticks([0, 50, 100])
            ax.spines["left"].set_visible(False)
            ax.spines["bottom"].set_bounds(0, 100)
            title = RESULT_WORDS[name].removeprefix("the ")
            ax.set_title(f"{title[0].upper()}{title[1:]} (fit explains {100 * one.explained:.0f} %)")
        for ax in axes[len(told) :]:
            ax.set_visible(False)
        figure.legend(
            handles=[
                Patch(color=ACCENT, lw=0, label="by itself, % of variance"),
                Patch(facecolor=TINT, edgecolor=ACCENT, lw=0.5, label="with all it interacts with"),
            ],
            loc="outside lower left",
            ncols=2,
        )
        return figure
