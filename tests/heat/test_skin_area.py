"""Area of the skin surface against the circumference of a round limb."""

import numpy as np
import pytest

from evenfield.grid.fit import fit
from evenfield.grid.layout import Spacing, make_layout
from evenfield.heat.bioheat import facets_to_nodes, skin_facets
from tests.field.placements import limb


def test_facets_of_a_round_limb() -> None:
    """Girth times length; a polygon of chords is smaller by (Δθ)²/24, below 1 % here."""
    region, panels = limb(girth=0.60)
    grid = fit(make_layout(region, panels, Spacing(scale=2.0)), region, panels)
    length = grid.level[-1, 0] - grid.level[0, 0]
    area = skin_facets(grid)
    assert area.sum() == pytest.approx(0.60 * length, rel=0.01)
    assert area.sum() < 0.60 * length
    assert facets_to_nodes(area).sum() == pytest.approx(area.sum(), rel=1e-12)
    assert np.all(facets_to_nodes(area) > 0)
