"""Temperature against time: fat and skin under each panel, what the assumed range does, and the power."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from evenfield.case import PowerKind
from evenfield.forecast import Forecast
from evenfield.report.look import HAIR, INK, LINES, SOFT, TINT

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PanelInTime:
    """One tissue under one panel in time, each (nt,) °C: the mean over its zones, its hottest point, and the
    mean at both ends of the assumed absorbed fraction (None if absorbed power was given)."""

    panel: str
    mean_c: Floats
    hottest_c: Floats
    low_c: Floats | None
    high_c: Floats | None


def under_each_panel(f: Forecast, tissue: str) -> Iterator[PanelInTime]:
    """Skin or fat under each panel, in the order of the case."""
    for panel in f.case.panels:
        rows = [n for n, z in enumerate(f.zones) if (z.zone.panel, z.zone.tissue) == (panel.name, tissue)]
        ends = (
            (None, None)
            if f.band is None
            else tuple(f.band.zone_mean_c[q, rows].mean(axis=0) for q in (0, 2))
        )
        yield PanelInTime(
            panel.name,
            np.mean([f.zones[n].mean_series_c for n in rows], axis=0),
            np.max([f.zones[n].peak_series_c for n in rows], axis=0),
            *ends,
        )


def line_width(number: int, count: int) -> float:
    """Later panels are drawn thinner over earlier ones, so that lines on top of each other show both."""
    return 1.2 if count == 1 else 3.0 - 1.8 * number / (count - 1)


def draw_in_time(ax: Axes, f: Forecast, tissue: str) -> None:
    """One tissue: mean per panel as a line, hottest as dashes, the assumed range as a tint."""
    minutes = f.minutes
    if tissue == "fat":
        ax.axhspan(*f.case.session.band_c, color=TINT, lw=0, zorder=0)
    for number, one in enumerate(under_each_panel(f, tissue)):
        colour, width = LINES[number % len(LINES)], line_width(number, len(f.case.panels))
        if one.low_c is not None and one.high_c is not None:
            ax.fill_between(minutes, one.low_c, one.high_c, color=colour, alpha=0.16, lw=0)
        ax.plot(minutes, one.mean_c, color=colour, lw=width, label=one.panel)
        ax.plot(minutes, one.hottest_c, color=colour, lw=0.7 * width, ls=(0, (4, 2)))
    ax.axvline(f.minutes[f.picture], color=SOFT, lw=0.6, ls=":")
    ax.set_xlim(0, minutes[-1])
    ax.grid(axis="y", color=HAIR, lw=0.4)
    ax.set_axisbelow(True)
    ax.set_title({"fat": "Fat", "skin": "Skin"}[tissue])
    ax.tick_params(labelbottom=False)


def draw_power(ax: Axes, f: Forecast) -> None:
    """The power curve as a thin step."""
    power = f.case.session.power
    times = np.array([*power.breaks(), f.case.session.end_s]) / 60.0
    watts = [*power.watts, 0.0, 0.0]
    ax.step(times, watts, where="post", color=INK, lw=0.9)
    ax.fill_between(times, watts, step="post", color=TINT, lw=0)
    ax.set_xlim(0, f.minutes[-1])
    ax.set_ylim(0, 1.25 * max(max(power.watts), 1.0))
    ax.set_yticks([0, max(power.watts)])
    kind = "set" if f.case.session.power_kind is PowerKind.SET else "absorbed"
    ax.set_ylabel("W")
    ax.set_xlabel(f"time, min (lower strip: {kind} power)")
