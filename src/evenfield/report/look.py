"""The look of every figure: one temperature scale, one set of line colours, one type size.

Temperature is drawn in viridis, which is perceptually uniform and reads the same for all common kinds of
colour vision; lines take the colours of M. Okabe and K. Ito, "Color Universal Design" (2008). Nothing is told
by red against green, and no line by colour alone: dashes and labels say the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from math import ceil, floor

import matplotlib as mpl
import matplotlib.style
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

MM = 1 / 25.4
"""One millimetre in inches."""
TEMPERATURE = "viridis"
INK, SOFT, HAIR, ACCENT, TINT = "#262229", "#5a5360", "#cfc8d2", "#4b3860", "#ece6f1"
LINES = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", INK)
"""Okabe and Ito's colours in the order panels take them; the eighth panel starts again."""
TISSUE_FILL = {"skin": "#CC79A7", "fat": "#E69F00", "muscle": "#56B4E9", "core": "#bdb6c2", "bone": "#bdb6c2"}
TYPE_PT = 8.0
_LABEL_MM, _MOST_TICKS = (8.0, 3.6), 7
"""On paper, of a tick's label: as wide as −100, and one line high."""

_STYLE = {
    "font.family": "DejaVu Sans",
    "font.size": TYPE_PT,
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": TYPE_PT,
    "xtick.labelsize": TYPE_PT,
    "ytick.labelsize": TYPE_PT,
    "legend.fontsize": TYPE_PT,
    "legend.frameon": False,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": SOFT,
    "axes.linewidth": 0.6,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "lines.linewidth": 1.4,
    "lines.solid_capstyle": "round",
    "svg.fonttype": "path",
    "svg.hashsalt": "evenfield",
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
}


@dataclass(frozen=True)
class Scale:
    """The one temperature scale of all pictures of a forecast, whole degrees Celsius."""

    low_c: float
    high_c: float

    @classmethod
    def over(cls, *fields: NDArray) -> Scale:  # type: ignore[type-arg]
        """The least scale of whole degrees that holds all these temperatures."""
        low = floor(min(float(f.min()) for f in fields))
        return cls(low, max(ceil(max(float(f.max()) for f in fields)), low + 1))

    @property
    def norm(self) -> Normalize:
        """For matplotlib."""
        return Normalize(self.low_c, self.high_c)


@contextmanager
def styled() -> Iterator[None]:
    """Our settings of matplotlib and nobody else's, for the time of the block."""
    with matplotlib.style.context("default"), mpl.rc_context(_STYLE):  # type: ignore[arg-type]
        yield


def sheet(width_mm: float, height_mm: float) -> Figure:
    """An empty figure of this size that arranges what is put into it."""
    return Figure(figsize=(width_mm * MM, height_mm * MM), layout="constrained")


def plain_sheet(width_mm: float, height_mm: float) -> Figure:
    """An empty figure of this size, to be filled by `placed_axes`."""
    return Figure(figsize=(width_mm * MM, height_mm * MM))


def sparse_ticks(ax: Axes, width_mm: float, height_mm: float) -> None:
    """Ticks of axes of this size on paper, as many as their labels have room for, and none so near to an end
    that its label reaches past it."""
    for axis, length, label in ((ax.xaxis, width_mm, _LABEL_MM[0]), (ax.yaxis, height_mm, _LABEL_MM[1])):
        low, high = sorted(axis.get_view_interval())
        room = 0.5 * label * (high - low) / length
        count = int(np.clip(length / (1.4 * label), 1, _MOST_TICKS))
        values = MaxNLocator(count, steps=[1, 2, 5, 10]).tick_values(low, high)
        axis.set_ticks([v for v in values if low + room <= v <= high - room])


def placed_axes(figure: Figure, left_mm: float, bottom_mm: float, width_mm: float, height_mm: float) -> Axes:
    """Axes of this size at this place of a figure, from its lower left corner."""
    across, up = (float(side) / MM for side in figure.get_size_inches())
    return figure.add_axes((left_mm / across, bottom_mm / up, width_mm / across, height_mm / up))
