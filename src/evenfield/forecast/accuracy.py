"""The grid chosen by an error target: solve on nested grids, estimate the error of fat SAR, refine if need
be, and extrapolate the heating from both grids.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator import PlacedPanel
from evenfield.body import Region
from evenfield.field import Field, Material, solve_field
from evenfield.grid.fit import fit
from evenfield.grid.layout import Layout, Spacing, make_layout

Floats = NDArray[np.float64]
Number = TypeVar("Number", np.float64, np.complex128)

LEAST_UNKNOWNS = 150_000
ERROR_TARGET = 0.02
"""Relative error of fat SAR (volume L2) that the grid must be estimated to keep."""
ENOUGH = 1e-6
"""Relative residual a forecast solves to: what it leaves changes the heating of fat by less than 1e-6."""
COARSE_ENOUGH = 1e-5
"""The same on the nested coarse grid: SAR of fat within 3e-6 of what 1e-8 gives (volume L2)."""
MOST_MISSING = 0.25
"""Most that `extrapolated` changes the heating of a cell, relative."""


def prolonged(coarse: NDArray[Number]) -> NDArray[Number]:
    """Node values of the nested coarse grid brought to the fine one: (K, J, I) to (2K − 1, 2J, 2I − 1)."""
    nk, nj, ni = coarse.shape
    out = np.empty((2 * nk - 1, 2 * nj, 2 * ni - 1), dtype=coarse.dtype)
    out[::2, ::2, ::2] = coarse
    out[::2, ::2, 1::2] = 0.5 * (coarse[:, :, 1:] + coarse[:, :, :-1])
    out[::2, 1::2] = 0.5 * (out[::2, ::2] + np.roll(out[::2, ::2], -1, axis=1))
    out[1::2] = 0.5 * (out[:-1:2] + out[2::2])
    return out


def block_mean(fine: Floats, volume: Floats) -> Floats:
    """Volume mean of a cell quantity over the 2x2x2 blocks of cells that make one nested coarse cell."""
    nk, nj, ni = fine.shape

    def summed(a: Floats) -> Floats:
        return np.asarray(a.reshape(nk // 2, 2, nj // 2, 2, ni // 2, 2).sum(axis=(1, 3, 5)))

    return summed(fine * volume) / summed(volume)


def sar_difference(coarse: Field, fine: Field, layer: str = "fat") -> float:
    """Relative L2 difference (volume norm) of a layer's SAR per watt between nested grids."""
    cells = coarse.grid.cells_of(layer)
    fine_cells = slice(2 * cells.start, 2 * cells.stop)
    volume = fine.grid.volume[:, :, fine_cells]
    mean = block_mean(fine.sar[:, :, fine_cells], volume)
    weight = coarse.grid.volume[:, :, cells]
    defect = float(np.sum(weight * (coarse.sar[:, :, cells] - mean) ** 2))
    return float(np.sqrt(defect / np.sum(weight * mean**2)))


def extrapolated(coarse: Field, fine: Field) -> Field:
    """The fine field with its heating (and SAR and shares) extrapolated to cells of no size.

    Richardson (*Phil. Trans. R. Soc. A* 226:299, 1927): where the error goes as the square of the cell size,
    a third of what the fine grid changed is still missing. The change is taken per coarse cell and relative,
    and bounded, so that heating stays positive at edges, where no expansion holds.
    """
    volume = fine.grid.volume[:, :, : fine.grid.skin_node]
    missing = (block_mean(fine.heating, volume) / coarse.heating - 1.0) / 3.0
    np.clip(missing, -MOST_MISSING, MOST_MISSING, out=missing)
    nk, nj, ni = missing.shape
    blocks = fine.heating.reshape(nk, 2, nj, 2, ni, 2) * (1.0 + missing[:, None, :, None, :, None])
    heating = blocks.reshape(fine.heating.shape)
    heating /= float(np.sum(heating * volume))
    power = heating * volume
    return replace(
        fine,
        heating=heating,
        sar=heating * (fine.sar / fine.heating),
        share={name: float(power[:, :, fine.grid.cells_of(name)].sum()) for name in fine.share},
    )


def _nodes(layout: Layout) -> int:
    return layout.angle.size * layout.level.size * (sum(f.size - 1 for f in layout.radial) + 1)


def chosen_layout(region: Region, panels: Sequence[PlacedPanel], refine: float = 1.0) -> Layout:
    """The coarsest layout with at least `LEAST_UNKNOWNS` nodes, its sizes then multiplied by `refine` (below
    1)."""
    layout = make_layout(region, panels, Spacing())
    scale = (_nodes(layout) / LEAST_UNKNOWNS) ** (1 / 3)
    while True:
        layout = make_layout(region, panels, Spacing(scale=scale * refine))
        if _nodes(layout) >= LEAST_UNKNOWNS:
            return layout
        scale *= 0.97


def solve_to_target(
    region: Region,
    panels: Sequence[PlacedPanel],
    materials: Mapping[str, Material],
    *,
    target: float = ERROR_TARGET,
    layout: Layout | None = None,
    residual: float = ENOUGH,
) -> tuple[Field, Field, float]:
    """Field on a grid estimated to keep the target, its heating extrapolated from the nested coarse grid's,
    the field on that grid, and the estimate.

    Second-order elements: the error of the fine solution is about a third of its difference from the coarse
    one. Extrapolation takes most of it away, so the estimate is on the cautious side. A given layout is used
    as it is; `residual` is the fine solution's.
    """
    drives = [p.panel.drive for p in panels]
    refine = 1.0
    while True:
        lines = layout or chosen_layout(region, panels, refine)
        grid, below = fit(lines, region, panels), fit(lines.coarser(), region, panels)
        coarse = solve_field(below, materials, drives, residual=max(COARSE_ENOUGH, residual))
        fine = solve_field(grid, materials, drives, start=prolonged(coarse.potential), residual=residual)
        estimate = sar_difference(coarse, fine) / 3.0
        if estimate <= target or layout is not None or refine < 0.5:
            return extrapolated(coarse, fine), coarse, estimate
        refine *= max(0.6, 0.95 * float(np.sqrt(target / estimate)))
