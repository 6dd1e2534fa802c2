"""How far the skin at one spot of a zone may lie from the zone's mean: what a thermometer held there sees.

Before heating it is the spread of the plan's own skin; in the rise it is the spread among members as believed
beforehand, whose panels are tilted, gaps wrong, flows and exchange their own.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from evenfield.follow.members import columns, drawn, heat_parameters
from evenfield.follow.model import FollowModel

Floats = NDArray[np.float64]
FINER = 1.7
"""Before heating, spots differ so much more on a grid twice as fine (computed: arm 1.68, thigh 1.86, abdomen
1.59; in the rise the finer grid has 0.85 times as much)."""
MEMBERS, HEATED_S = 128, 1200.0


def spots(
    model: FollowModel, watts: float, surface: list[tuple[NDArray[np.int64], Floats]]
) -> tuple[Floats, Floats]:
    """Spread of the skin between spots of each zone: before heating in K, and of the rise over its mean.

    `surface`: of each zone, the nodes (flat) on the skin and their areas. The model still
    has its node fields.
    """
    heat, count = model.heat, columns(model).count
    xi = drawn(max(MEMBERS, count + 2), count, np.random.default_rng(0))
    start = heat.start(heat_parameters(model, xi, np.zeros((len(model.panels), 3))))
    warm = heat.advance(start, watts, HEATED_S)
    before, share = [], []
    for nodes, area in surface:
        weight = area / area.sum()
        rise = heat.at(warm, nodes) - heat.at(start, nodes)
        mean = rise @ weight
        before.append(FINER * _spread(heat.start_c.ravel()[nodes], weight))
        share.append(np.sqrt(np.mean((_spread(rise, weight) / np.maximum(mean, 0.1)) ** 2)))
    return np.array(before), np.array(share)


def _spread(values: Floats, weight: Floats) -> Floats:
    """Standard deviation along the last axis."""
    mean = values @ weight
    return np.asarray(np.sqrt((values - mean[..., None]) ** 2 @ weight))
