"""The map of minutes against power: lines of equal hottest skin and mean of fat, the band shaded."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from evenfield.report.look import HAIR, INK, LINES, TINT, sheet, styled
from evenfield.tolerance.minutes_power import MinutesPower

Floats = NDArray[np.float64]
FAT, SKIN = LINES[0], LINES[1]
FAT_ROW, SKIN_ROW = 0.92, 0.74
"""Height of a line's number, of the whole."""


def draw_minutes_power(m: MinutesPower, width_mm: float = 180.0) -> Figure:
    """Left what half of the members stay under, right what 95 % of them stay under."""
    with styled():
        figure = sheet(width_mm, 92.0)
        axes = figure.subplots(1, 2, sharex=True, sharey=True)
        for ax, row, title in zip(axes, (1, 2), ("Median of members", "95 % of members"), strict=True):
            _draw(ax, m, m.skin_c[row], m.fat_c[row])
            ax.set_title(title)
        axes[0].set_ylabel("minutes with power")
        kind = "set" if m.set_power else "absorbed"
        for ax in axes:
            ax.set_xlabel(f"{kind} power, constant, W")
        figure.legend(
            handles=[
                Line2D([], [], color=FAT, label="mean of fat, °C"),
                Line2D([], [], color=SKIN, ls=(0, (4, 2)), label="hottest skin, °C"),
                Line2D([], [], color=INK, lw=2.0, label=f"skin limit {m.skin_limit_c:g} °C"),
                Patch(color=TINT, lw=0, label="mean of fat in the band"),
                Line2D([], [], color=INK, marker="o", ls="", ms=4, label="as planned"),
            ],
            loc="outside lower left",
            ncols=5,
            columnspacing=1.2,
            handlelength=2.2,
        )
        return figure


def _draw(ax: Axes, m: MinutesPower, skin: Floats, fat: Floats) -> None:
    y = m.minutes
    x = np.linspace(m.power_w[0], m.power_w[-1], 121)  # smooth lines between the powers computed
    skin, fat = (PchipInterpolator(m.power_w, values, axis=0)(x) for values in (skin, fat))
    ax.contourf(x, y, fat.T, levels=list(m.band_c), colors=[TINT])
    for values, colour, dash, row in ((fat, FAT, "solid", FAT_ROW), (skin, SKIN, "dashed", SKIN_ROW)):
        levels = np.arange(np.ceil(values.min()), np.floor(values.max()) + 0.5)
        levels = levels[(levels >= 36.0) & (levels <= 48.0)]
        if row == SKIN_ROW:  # the limit has a line of its own
            levels = levels[levels != m.skin_limit_c]
        if levels.size:
            lines = ax.contour(x, y, values.T, levels=levels, colors=colour, linewidths=1.0, linestyles=dash)
            places = _label_places(x, y, values, levels, row)
            for text in ax.clabel(lines, fmt="%.0f", fontsize=6.5, manual=places):
                if text.get_rotation() % 180.0 > 45.0:  # steep lines: all read the same way
                    text.set_rotation(text.get_rotation() % 180.0 - 180.0)
    if skin.min() < m.skin_limit_c < skin.max():
        ax.contour(x, y, skin.T, levels=[m.skin_limit_c], colors=INK, linewidths=2.0)
    ax.plot(*m.planned, color=INK, marker="o", ms=4, ls="")
    ax.set_xlim(x[0], x[-1])
    ax.set_ylim(0, y[-1])
    ax.grid(color=HAIR, lw=0.3)
    ax.set_axisbelow(True)


def _label_places(
    x: Floats, y: Floats, values: Floats, levels: Floats, row: float
) -> list[tuple[float, float]]:
    """Where each line's number stands: on one height for all lines of a kind, so that kinds do not
    overlap."""
    n = int(row * (y.size - 1))
    at = values[:, n]
    return [(float(np.interp(level, at, x)), float(y[n])) for level in levels if at[0] < level < at[-1]]
