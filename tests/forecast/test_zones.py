"""Zones: nine per panel and tissue, weights that average, nodes that belong."""

import numpy as np
import pytest

from evenfield.forecast.zones import make_zones
from evenfield.grid.fit import Grid, fit
from evenfield.grid.layout import Spacing, make_layout
from tests.field.placements import limb


@pytest.fixture(scope="module")
def grid() -> Grid:
    region, panels = limb()
    return fit(make_layout(region, panels, Spacing(scale=2.0)), region, panels)


def test_names_and_weights(grid: Grid) -> None:
    _, panels = limb()
    zones = make_zones(grid, panels, trunk=False)
    assert len(zones.zones) == 2 * 9 * 2
    assert len({(z.panel, z.name, z.tissue) for z in zones.zones}) == 36
    assert np.asarray(zones.mean.sum(axis=1)).ravel() == pytest.approx(1.0, abs=1e-12)


def test_means_of_known_temperatures(grid: Grid) -> None:
    """Level as temperature gives the thirds' middles; radius as temperature tells skin from fat."""
    _, panels = limb()
    zones = make_zones(grid, panels, trunk=False)
    n = grid.skin_node + 1
    level = np.broadcast_to(grid.nodes[2, :, :, :n], (*grid.shape[:2], n)).ravel()
    radius = np.hypot(grid.nodes[0], grid.nodes[1])[:, :, :n].ravel()
    by_level, by_radius = zones.mean @ level, zones.mean @ radius
    for zone, z, r, inside in zip(zones.zones, by_level, by_radius, zones.inside, strict=True):
        assert z == pytest.approx((zone.along - 1) * 0.16 / 3, abs=6e-3)
        if zone.tissue == "skin":
            assert r == pytest.approx(0.60 / (2 * np.pi), rel=1e-3)
        else:
            assert r < 0.60 / (2 * np.pi) - 0.008
        assert radius[inside].min() >= 0.60 / (2 * np.pi) - (0.0021 if zone.tissue == "skin" else 0.0221)
