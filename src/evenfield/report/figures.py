"""The four figures of a forecast and, for each, what it shows in words.

The same forecast gives the same bytes: no date, no random name, no font of the machine.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from evenfield.forecast import Forecast
from evenfield.report import in_time, maps, section, wording
from evenfield.report.look import (
    INK,
    SOFT,
    TEMPERATURE,
    TINT,
    TISSUE_FILL,
    Scale,
    placed_axes,
    plain_sheet,
    sheet,
    sparse_ticks,
    styled,
)

PNG_DPI = 200
_TALLEST_SECTION_MM, _TALLEST_MAP_MM = 39.5, 42.0
"""So that the first page of the report holds all pictures."""
_NARROWEST_MAP_MM = 60.0
"""Room on paper for a map's title; a narrower map stands in it with nothing beside."""


@dataclass(frozen=True)
class Picture:
    """One figure: the `name` of its files, a `title`, and `words` that say what it shows to who cannot see
    it."""

    name: str
    title: str
    words: str
    draw: Callable[[], Figure]


def scale_of(f: Forecast) -> Scale:
    """The one temperature scale of all pictures at the pictures' time."""
    level = section.section_level_m(f)
    shown = f.history.temperature_c[f.picture].astype(np.float64)
    return Scale.over(
        section.at_level(f, level, shown)[2], maps.hottest_through(f, "skin"), maps.hottest_through(f, "fat")
    )


def pictures(f: Forecast) -> tuple[Picture, ...]:
    """All figures of a forecast, in the order in which to look at them."""
    minute = wording.minute_text(f.minutes[f.picture])
    fat, skin = wording.hottest(f, "fat"), wording.hottest(f, "skin")
    shares = ", ".join(f"{k} {100 * v:.0f} %" for k, v in wording.shares(f))
    return (
        Picture(
            "section",
            f"Cross-section at {minute}",
            f"Cross-section of the body at {minute}: temperature in colour in "
            f"{', '.join(f.case.region.layers)}, with the panels in place. "
            f"{wording.spot_words(f, 'fat')}",
            lambda: draw_section(f),
        ),
        Picture(
            "maps",
            f"Skin and fat unrolled at {minute}",
            f"Skin and fat unrolled at {minute}: hottest temperature through each tissue's thickness in "
            f"colour, outlines of the panels, numbered hot spots. {wording.spot_words(f, 'skin')} "
            f"{wording.spot_words(f, 'fat')}",
            lambda: draw_maps(f),
        ),
        Picture(
            "in_time",
            "Temperature in time",
            "Temperature of fat and of skin under each panel against time, with the range of the assumed "
            f"absorbed fraction and the power below. Hottest in fat {fat.temperature_c:.1f} °C {fat.when}, "
            f"in skin {skin.temperature_c:.1f} °C {skin.when}.",
            lambda: draw_in_time(f),
        ),
        Picture(
            "shares",
            "Where the absorbed power goes",
            f"Bar of the shares of absorbed power: {shares}.",
            lambda: draw_shares(f),
        ),
    )


def draw_section(f: Forecast, width_mm: float = 104.0) -> Figure:
    """The cross-section with its colour bar."""
    with styled():
        left, right, top, bottom = 13.0, 17.0, 6.0, 10.0
        ratio = section.section_shape(f)
        wide = width_mm - left - right
        high = min(wide * ratio, _TALLEST_SECTION_MM)
        wide = high / ratio
        figure = plain_sheet(width_mm, high + top + bottom)
        ax = placed_axes(figure, left, bottom, wide, high)
        scale = scale_of(f)
        section.draw_section(ax, f, scale)
        sparse_ticks(ax, wide, high)
        _bar(figure, scale, placed_axes(figure, left + wide + 2.5, bottom, 2.6, high))
        return figure


def draw_maps(f: Forecast, width_mm: float = 180.0) -> Figure:
    """Skin and fat side by side with one colour bar."""
    with styled():
        shown = maps.unrolled(f)
        left, right, between, top, bottom = 14.0, 17.0, 5.0, 10.0, 10.0
        ratio = (shown.level_m[1] - shown.level_m[0]) / (shown.arc_m[1] - shown.arc_m[0])
        wide = 0.5 * (width_mm - left - right - between)
        high = min(wide * ratio, _TALLEST_MAP_MM)
        wide = high / ratio
        figure = plain_sheet(width_mm, high + top + bottom)
        scale = scale_of(f)
        apart = max(wide, _NARROWEST_MAP_MM) + between
        for number, tissue in enumerate(("skin", "fat")):
            ax = placed_axes(figure, left + number * apart, bottom, wide, high)
            maps.draw_map(ax, f, tissue, shown, scale)
            sparse_ticks(ax, wide, high)
            ax.set_title(f"{tissue.capitalize()}, hottest through its thickness", pad=14)
            ax.tick_params(labelleft=number == 0)
            if number == 0:
                ax.set_ylabel("level, mm")
        _bar(figure, scale, placed_axes(figure, left + apart + wide + 2.5, bottom, 2.6, high))
        return figure


def _bar(figure: Figure, scale: Scale, ax: Axes) -> None:
    """The temperature scale beside a picture, in whole degrees."""
    ticks = MaxNLocator(7, steps=[1, 2, 5, 10], integer=True)
    bar = figure.colorbar(ScalarMappable(scale.norm, TEMPERATURE), cax=ax, ticks=ticks)
    bar.outline.set_visible(False)
    bar.set_label("temperature, °C")


def draw_in_time(f: Forecast, width_mm: float = 180.0, height_mm: float = 55.0) -> Figure:
    """Fat and skin in time, the power beneath each."""
    with styled():
        figure = sheet(width_mm, height_mm)
        axes = figure.subplots(2, 2, sharex=True, height_ratios=(5, 1))
        for ax, tissue in zip(axes[0], ("fat", "skin"), strict=True):
            in_time.draw_in_time(ax, f, tissue)
        for ax in axes[1]:
            in_time.draw_power(ax, f)
        axes[0, 0].set_ylabel("temperature, °C")
        axes[1, 1].set_ylabel("")
        panels, _ = axes[0, 0].get_legend_handles_labels()
        kinds: list[Line2D | Patch] = [
            Line2D([], [], color=SOFT, label="mean"),
            Line2D([], [], color=SOFT, lw=1.1, ls=(0, (4, 2)), label="hottest point"),
        ]
        if f.band is not None:
            kinds.append(Patch(color=SOFT, alpha=0.25, lw=0, label="mean over the assumed range"))
        kinds.append(Patch(color=TINT, lw=0, label="band wanted in fat"))
        handles = [*panels, *kinds]
        _legend_below(figure, handles, rows=1 if len(panels) <= 2 else 2)
        return figure


def _legend_below(figure: Figure, handles: Sequence[Artist], rows: int) -> None:
    """A legend under the axes, in so many rows or, where names are long, as many as the width asks for."""
    for columns in range(-(-len(handles) // rows), 0, -1):
        legend = figure.legend(
            handles=handles, loc="outside lower left", ncols=columns, columnspacing=1.3, handlelength=1.8
        )
        if columns == 1 or legend.get_window_extent().width <= figure.bbox.width:
            return
        legend.remove()


def draw_shares(f: Forecast, width_mm: float = 68.0) -> Figure:
    """A bar for each tissue's share of absorbed power."""
    with styled():
        told = wording.shares(f)
        figure = sheet(width_mm, 5.2 * len(told) + 1.0)
        ax = figure.add_subplot()
        for row, (name, share) in enumerate(told):
            ax.barh(row, 100 * share, height=0.62, color=TISSUE_FILL.get(name, TINT), lw=0)
            ax.text(100 * share + 1.2, row, f"{100 * share:.0f} %", va="center", color=INK)
        ax.set_xlim(0, 112)
        ax.set_ylim(len(told) - 0.5, -0.5)
        ax.set_yticks(range(len(told)), [name for name, _ in told])
        ax.tick_params(axis="y", length=0)
        ax.set_xticks([])
        ax.spines["bottom"].set_visible(False)
        return figure


def save(figure: Figure, path: Path) -> None:
    """Write a figure as SVG or PNG, by the path's ending, without a date."""
    FigureCanvasAgg(figure)
    metadata = {"Date": None, "Creator": "evenfield"} if path.suffix == ".svg" else {"Software": "evenfield"}
    with styled():
        figure.savefig(path, dpi=PNG_DPI, metadata=metadata)


def save_picture(picture: Picture, folder: Path, endings: tuple[str, ...] = (".svg", ".png")) -> list[Path]:
    """Draw one figure into a folder that is there. Returns the files."""
    figure = picture.draw()
    written = [folder / f"{picture.name}{ending}" for ending in endings]
    for path in written:
        save(figure, path)
    return written


def save_pictures(f: Forecast, folder: Path) -> list[Path]:
    """Draw every figure into a folder that is there. Returns the files."""
    return [path for picture in pictures(f) for path in save_picture(picture, folder)]
