"""The report on a visit: what was entered, what is estimated, what was seen and said at the end.

Set from `visit.typ` beside this file. Everything comes in as plain values; nothing is looked up.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from evenfield import __version__
from evenfield.forecast import DECIDES
from evenfield.report.figures import Picture
from evenfield.report.look import INK, LINES, SOFT, TINT, sheet, styled
from evenfield.report.typeset import typeset


@dataclass(frozen=True)
class CurveInTime:
    """A curve with its intervals: `minutes` (nt,), `values` (nt, 5): value, low and high 50 %, low and high
    90 %."""

    minutes: list[float]
    values: list[list[float]]


@dataclass(frozen=True)
class VisitPicture:
    """What the picture of a visit shows. Times in minutes, power in W (0 while the field is off), °C.

    `fat` and `skin` are None where there is no estimate. `readings`: minute and °C. `marks`: minute and a
    letter for what was reported.
    """

    end_minute: float
    power: list[tuple[float, float]]
    fat: CurveInTime | None
    skin: CurveInTime | None
    readings: list[tuple[float, float]]
    marks: list[tuple[float, str]]
    band_c: tuple[float, float] | None


@dataclass(frozen=True)
class VisitSheet:
    """Everything the report says beside its picture. Pairs are a name and a value."""

    title: str
    setting: str
    clinic: str
    numbers: list[tuple[str, str]]
    seen: list[tuple[str, str]]
    unwanted: list[dict[str, str]]
    zone_columns: list[str]
    zones: list[list[str]]
    learned: list[tuple[str, str]]
    entries: list[list[str]]
    sureness: list[str]
    cautions: list[str]


def words_of(shown: VisitPicture) -> str:
    """What the picture shows, for who cannot see it."""
    most = max((watts for _minute, watts in shown.power), default=0.0)
    parts = [f"Visit of {shown.end_minute:.0f} minutes; set power in time, at most {most:g} W"]
    for name, one in (("fat", shown.fat), ("skin", shown.skin)):
        if one is not None and one.values:
            last = one.values[-1]
            parts.append(
                f"mean {name} estimated at the end {last[0]:.1f} °C, 90 % {last[3]:.1f} to {last[4]:.1f} °C"
            )
    parts.append(f"{len(shown.readings)} skin readings")
    return "; ".join(parts) + "."


def draw_visit(shown: VisitPicture, width_mm: float = 180.0) -> Figure:
    """Temperature with intervals above, set power beneath."""
    with styled():
        figure = sheet(width_mm, 84.0)
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 1))
        _temperature(above, shown)
        _power(below, shown)
        if shown.power or shown.readings or shown.fat or shown.skin or shown.band_c:
            figure.legend(loc="outside lower left", ncols=5, columnspacing=1.3, handlelength=1.8)
        return figure


def _temperature(ax: Axes, shown: VisitPicture) -> None:
    if shown.band_c is not None:
        ax.axhspan(*shown.band_c, color=TINT, lw=0, zorder=0, label="band")
    for name, one, colour in (("fat", shown.fat, LINES[1]), ("skin", shown.skin, LINES[0])):
        if one is None or not one.values:
            continue
        minutes, values = np.array(one.minutes), np.array(one.values)
        ax.fill_between(minutes, values[:, 3], values[:, 4], color=colour, alpha=0.15, lw=0)
        ax.fill_between(minutes, values[:, 1], values[:, 2], color=colour, alpha=0.3, lw=0)
        ax.plot(
            minutes,
            values[:, 0],
            color=colour,
            ls="-" if name == "fat" else "--",
            label=f"mean {name}, 50 and 90 %",
        )
    if shown.readings:
        ax.plot(*zip(*shown.readings, strict=True), "o", ms=3.5, mfc="white", mec=LINES[0], label="skin read")
    if shown.fat is None and shown.skin is None:
        ax.text(0.5, 0.5, "no estimate", transform=ax.transAxes, ha="center", color=SOFT)
    for minute, _letter in shown.marks:
        ax.axvline(minute, color=SOFT, lw=0.6, ls=":")
    for minute, letters in lettered(shown.marks, shown.end_minute):
        ax.annotate(
            letters, (minute, 1.0), xycoords=("data", "axes fraction"), ha="center", va="bottom", color=INK
        )
    ax.set_ylabel("temperature, °C")


def lettered(marks: Sequence[tuple[float, str]], end_minute: float) -> list[tuple[float, str]]:
    """The letters over the marks; those too near to stand side by side become one: "H M"."""
    out: list[tuple[float, str]] = []
    for minute, letter in sorted(marks):
        if out and minute - out[-1][0] < 0.015 * end_minute:
            out[-1] = (out[-1][0], f"{out[-1][1]} {letter}")
        else:
            out.append((minute, letter))
    return out


def _power(ax: Axes, shown: VisitPicture) -> None:
    minutes = [minute for minute, _watts in shown.power] + [shown.end_minute]
    watts = [power for _minute, power in shown.power]
    if watts:
        ax.stairs(watts, minutes, fill=True, color=SOFT, alpha=0.4, label="set power")
    ax.set_ylim(bottom=0.0)
    ax.set_xlim(0.0, max(shown.end_minute, 1.0))
    ax.set_ylabel("W")
    ax.set_xlabel("minutes from the visit's start")


def visit_svg(shown: VisitPicture) -> bytes:
    """The picture as an SVG file."""
    figure, out = draw_visit(shown), io.BytesIO()
    FigureCanvasAgg(figure)
    with styled():
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": "evenfield"})
    return out.getvalue()


def visit_pdf(told: VisitSheet, shown: VisitPicture) -> bytes:
    """The report as PDF/A-2b and PDF/UA-1."""
    words = words_of(shown)
    data: dict[str, Any] = {
        **vars(told),
        "version": __version__,
        "decides": DECIDES,
        "picture": {"file": "visit.svg", "words": words},
    }
    return typeset("visit.typ", data, [Picture("visit", "The visit", words, lambda: draw_visit(shown))])
