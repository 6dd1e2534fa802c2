"""evenfield's heating against another program's, cell by cell."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from evenfield.field import Field, Material
from evenfield.grid.fit import Grid
from evenfield.verify.reference_fem import ReferenceField

Floats = NDArray[np.float64]


def cell_centres(grid: Grid, layer: str) -> Floats:
    """Mean of the corners of each cell of a layer, (nk − 1, nj, cells, 3) [m]."""
    where = grid.cells_of(layer)
    nodes = grid.nodes[:, :, :, where.start : where.stop + 1]
    nodes = nodes + np.roll(nodes, -1, axis=2)
    nodes = nodes[:, :-1] + nodes[:, 1:]
    return np.moveaxis((nodes[..., :-1] + nodes[..., 1:]) / 8.0, 0, -1)


def volume_l2(
    ours: Field, theirs: ReferenceField, materials: Mapping[str, Material], layer: str = "fat"
) -> float:
    """Relative L2 difference of SAR per absorbed watt over a layer's volume [1]: our means, their centres."""
    where = ours.grid.cells_of(layer)
    volume = ours.grid.volume[:, :, where]
    a = ours.heating[:, :, where]
    square = theirs.field_square(cell_centres(ours.grid, layer))
    b = materials[layer].admittivity.real * square / theirs.absorbed_w
    return float(np.sqrt(np.sum(volume * (a - b) ** 2) / np.sum(volume * b**2)))
