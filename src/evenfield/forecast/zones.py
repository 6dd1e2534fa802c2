"""Zones: thirds across by thirds along under each panel, with a skin and a fat part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from evenfield.applicator import PlacedPanel, third_name
from evenfield.grid.fit import Grid
from evenfield.heat.bioheat import spread_to_nodes

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
    skin_facets = grid.volume[:, :, grid.skin_node - 1 : grid.skin_node]
    zones, rows, inside = [], [], []
    number = np.arange(nk * nj * n).reshape(nk, nj, n)
    for p, (placed, lines) in enumerate(zip(panels, grid.layout.panels, strict=True)):
        k_cells, j_cells = grid.panel_cells(p)
        third_u = np.clip(((0.5 * (lines.u[1:] + lines.u[:-1]) + 1) * 1.5).astype(int), 0, 2)
        third_v = np.clip(((0.5 * (lines.v[1:] + lines.v[:-1]) + 1) * 1.5).astype(int), 0, 2)
        for along in (2, 1, 0):
            for across in (0, 1, 2):
                k, j = k_cells[third_v == along], j_cells[:, third_u == across]
                for tissue in TISSUES:
                    cells = grid.cells_of(tissue)
                    weight = np.zeros((nk - 1, nj, n - 1))
                    touched = np.zeros((nk - 1, nj, n - 1))
                    touched[k, j, cells] = 1.0
                    if tissue == "skin":
                        # the outermost cells' volume stands for surface (their thickness is even under a
                        # zone)
                        weight[k, j, n - 2] = skin_facets[k, j, 0]
                        nodes = spread_to_nodes(weight)
                        nodes[:, :, :-1] = 0.0
                    else:
                        weight[k, j, cells] = grid.volume[k, j, cells]
                        nodes = spread_to_nodes(weight)
                    zones.append(
                        Zone(
                            placed.panel.name,
                            third_name(placed.panel, trunk, across, along),
                            tissue,
                            across,
                            along,
                        )
                    )
                    rows.append(csr_matrix((nodes / nodes.sum()).reshape(1, -1)))
                    inside.append(number[spread_to_nodes(touched) > 0])
    from scipy.sparse import vstack

    return Zones(tuple(zones), csr_matrix(vstack(rows)), tuple(inside))
