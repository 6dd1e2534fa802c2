"""The picture of every zone in time: fat and skin under each panel, a line per third, on one scale per
tissue."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from evenfield.applicator.words import panel_words
from evenfield.forecast import Forecast
from evenfield.report import Picture
from evenfield.report.look import HAIR, LINES, SOFT, TINT, sheet, styled

ROWS = ("lower", "middle", "upper")
DASHES = ("solid", (0, (5, 2)), (0, (1, 1.5)))
SIDES = ("first across, by angle", "middle across", "last across")


def zone_picture(f: Forecast) -> Picture:
    """The picture with its words: the warmest and the coolest zone of fat when the power ends."""
    fat = sorted((z for z in f.zones if z.zone.tissue == "fat"), key=lambda z: z.mean_c)
    least, most = (
        f"{panel_words(z.zone.panel)}, {z.zone.name}, {z.mean_c:.1f} °C" for z in (fat[0], fat[-1])
    )
    return Picture(
        "zones",
        "Every zone in time",
        "Mean temperature of every zone of fat and of skin under each panel against time, with the band "
        "wanted in fat and the range of the assumed absorbed fraction over all zones of a panel. When the "
        f"power ends the coolest fat is {least}; the warmest {most}. The table of zones has all numbers.",
        lambda: draw_zones(f),
    )


def draw_zones(f: Forecast, width_mm: float = 180.0) -> Figure:
    """Fat above, skin below; a column per panel."""
    names = [panel.name for panel in f.case.panels]
    with styled():
        figure = sheet(width_mm, 104.0)
        axes = figure.subplots(2, len(names), sharex=True, sharey="row", squeeze=False)
        for row, tissue in enumerate(("fat", "skin")):
            for column, name in enumerate(names):
                _draw(axes[row, column], f, name, tissue)
                axes[row, column].set_title(f"{tissue.capitalize()}, {panel_words(name)}")
            axes[row, 0].set_ylabel("temperature, °C")
        for ax in axes[1]:
            ax.set_xlabel("time, min")
        handles: list[Line2D | Patch] = [Line2D([], [], color=LINES[n], label=ROWS[n]) for n in (2, 1, 0)]
        handles += [Line2D([], [], color=SOFT, ls=DASHES[n], label=SIDES[n]) for n in range(3)]
        handles.append(Patch(color=TINT, lw=0, label="band wanted in fat"))
        if f.band is not None:
            handles.append(Patch(color=SOFT, alpha=0.2, lw=0, label="assumed range, all zones"))
        figure.legend(handles=handles, loc="outside lower left", ncols=4, columnspacing=1.3)
        return figure


def _draw(ax: Axes, f: Forecast, panel: str, tissue: str) -> None:
    if tissue == "fat":
        ax.axhspan(*f.case.session.band_c, color=TINT, lw=0, zorder=0)
    rows = [n for n, z in enumerate(f.zones) if (z.zone.panel, z.zone.tissue) == (panel, tissue)]
    if f.band is not None:
        low = np.min(f.band.zone_mean_c[0, rows], axis=0)
        high = np.max(f.band.zone_mean_c[2, rows], axis=0)
        ax.fill_between(f.minutes, low, high, color=SOFT, alpha=0.14, lw=0)
    for n in rows:
        zone = f.zones[n]
        ax.plot(
            f.minutes, zone.mean_series_c, color=LINES[zone.zone.along], ls=DASHES[zone.zone.across], lw=1.2
        )
    ax.set_xlim(0, f.minutes[-1])
    ax.grid(axis="y", color=HAIR, lw=0.4)
    ax.set_axisbelow(True)
