"""Zones: thirds across by thirds along under each panel, with a skin and a fat part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from evenfield.applicator import PlacedPanel, third_name
from evenfield.grid.fit import Grid
from evenfield.heat.bioheat import facets_to_nodes, skin_facets, spread_to_nodes

Floats = NDArray[np.float64]
TISSUES = ("skin", "fat")


@dataclass(frozen=True)
class Zone:
    """`panel`, `name` ("upper inner"), `tissue`; `across`, `along` 0..2 are the thirds."""

    panel: str
    name: str
    tissue: str
    across: int
    along: int


@dataclass(frozen=True)
class Zones:
    """All zones of a placement and, as rows, their means and nodes over the body's node array (flattened).

    `mean` (n_zones, n_nodes): weights that sum to one per zone: volume for fat, surface for skin. `inside`
    (n_zones lists): flat indices of the zone's nodes, all depths of its tissue.
    """

    zones: tuple[Zone, ...]
    mean: csr_matrix
    inside: tuple[NDArray[np.int64], ...]


def make_zones(grid: Grid, panels: tuple[PlacedPanel, ...], trunk: bool) -> Zones:
    """Cut the footprint of every panel into thirds by the relative positions of the cell columns."""
    nk, nj, _ = grid.shape
    n = grid.skin_node + 1
    facets = skin_facets(grid)
    zones, weights, indices, inside = [], [], [], []
    number = np.arange(nk * nj * n).reshape(nk, nj, n)
    for p, (placed, lines) in enumerate(zip(panels, grid.layout.panels, strict=True)):
        k_cells, j_cells = grid.panel_cells(p)
        third_u, third_v = _thirds(lines.u), _thirds(lines.v)
        for along in (2, 1, 0):
            for across in (0, 1, 2):
                columns = np.zeros((nk - 1, nj))
                columns[k_cells[third_v == along], j_cells[:, third_u == across]] = 1.0
                name = third_name(placed.panel, trunk, across, along)
                for tissue in TISSUES:
                    cells = grid.cells_of(tissue)
                    nodes = slice(cells.start, cells.stop + 1)
                    volume = spread_to_nodes(columns[..., None] * grid.volume[:, :, cells])
                    own = volume > 0
                    inside.append(number[:, :, nodes][own])
                    if tissue == "skin":
                        area = facets_to_nodes(columns * facets)
                        weight, index = area[area > 0], number[:, :, -1][area > 0]
                    else:
                        weight, index = volume[own], inside[-1]
                    zones.append(Zone(placed.panel.name, name, tissue, across, along))
                    weights.append(weight / weight.sum())
                    indices.append(index)
    begin = np.concatenate([[0], np.cumsum([index.size for index in indices])])
    mean = csr_matrix(
        (np.concatenate(weights), np.concatenate(indices), begin), shape=(len(zones), number.size)
    )
    return Zones(tuple(zones), mean, tuple(inside))


def _thirds(relative: Floats) -> NDArray[np.int64]:
    """Third 0, 1 or 2 of each cell between relative positions −1..1."""
    middles = 0.5 * (relative[1:] + relative[:-1])
    return np.clip(np.floor((middles + 1.0) * 1.5), 0, 2).astype(np.int64)
