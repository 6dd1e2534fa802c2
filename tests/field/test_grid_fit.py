"""The fitted grid: panel edges on node lines, layers on node surfaces, nested refinement, nothing folded."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenfield.applicator import PanelShape
from evenfield.grid.fit import Grid, fit
from evenfield.grid.layout import Spacing, make_layout
from tests.field.placements import limb, near_and_wide

COARSE = Spacing(scale=2.0)


def on_panel(grid: Grid, number: int) -> np.ndarray:
    k, j = grid.panel_nodes(number)
    return np.asarray(grid.nodes[:, k, j, grid.panel_node])


@pytest.mark.parametrize("shape", list(PanelShape))
def test_panel_edges_are_node_lines(shape: PanelShape) -> None:
    """Corners and edges of the node patch are those of the panel, tilted as it is."""
    region, panels = limb(gap=0.02, across=7.0, along=-5.0, shape=shape, shift=0.013)
    grid = fit(make_layout(region, panels, COARSE), region, panels)
    for number, placed in enumerate(panels):
        patch = on_panel(grid, number)
        half_w, half_l = placed.panel.width_m / 2, placed.panel.length_m / 2
        for at, (u, v) in {(0, 0): (-1, -1), (0, -1): (1, -1), (-1, 0): (-1, 1), (-1, -1): (1, 1)}.items():
            assert patch[:, at[0], at[1]] == pytest.approx(placed.point(u * half_w, v * half_l), abs=1e-9)


def test_area_of_the_patch_is_the_panels() -> None:
    """12 % of the area was lost where panels were snapped to a uniform grid; here none is."""
    region, panels = limb(across=4.0)
    grid = fit(make_layout(region, panels, COARSE), region, panels)
    p = np.moveaxis(on_panel(grid, 0), 0, -1)
    facets = np.cross(p[1:, 1:] - p[:-1, :-1], p[1:, :-1] - p[:-1, 1:])
    assert 0.5 * np.linalg.norm(facets, axis=-1).sum() == pytest.approx(0.12 * 0.16, rel=1e-6)


def test_layers_lie_on_node_surfaces() -> None:
    region, panels = limb(fat=0.025)
    grid = fit(make_layout(region, panels, COARSE), region, panels)
    radii = region.layer_radii(grid.angle, grid.level)
    radius = np.hypot(grid.nodes[0], grid.nodes[1])
    for name, expected in zip(region.layers, radii, strict=True):
        assert radius[:, :, grid.cells_of(name).stop] == pytest.approx(expected, abs=1e-12)


def test_coarser_grid_is_nested() -> None:
    region, panels = limb(across=3.0)
    layout = make_layout(region, panels, COARSE)
    fine, coarse = fit(layout, region, panels), fit(layout.coarser(), region, panels)
    assert np.abs(fine.nodes[:, ::2, ::2, ::2] - coarse.nodes).max() < 1e-4
    again = fit(layout.finer().coarser(), region, panels)
    assert np.abs(again.nodes - fine.nodes).max() < 1e-12


def test_grids_are_nested_between_unlike_panels_too() -> None:
    """Whatever the number of cells under each: the height of the lines between panels is the panels' own."""
    region, panels = near_and_wide()
    layout = make_layout(region, panels, COARSE)
    # halved, an odd number of cells
    assert any((lines.k1 - lines.k0) % 4 or (lines.j1 - lines.j0) % 4 for lines in layout.panels)
    fine, coarse = fit(layout, region, panels), fit(layout.coarser(), region, panels)
    inside = slice(None, coarse.panel_node + 1)
    apart = (fine.nodes[:, ::2, ::2, ::2] - coarse.nodes)[:, :, :, inside]
    assert np.abs(apart).max() < 5e-5  # the hole round the axis follows the grid's own smallest radius


def test_a_far_edge_does_not_lift_the_lines_beside_a_near_panel() -> None:
    """Between the panels the lines stay nearer to the small gaps than to a wide plate's corners."""
    region, panels = near_and_wide()
    grid = fit(make_layout(region, panels, COARSE), region, panels)
    height = np.hypot(*grid.nodes[:2, :, :, grid.panel_node]) - grid.skin_radius
    assert height.max() > 0.10
    assert height[0].max() < 0.02  # beyond all panels


def test_a_new_tilt_keeps_the_layout_and_moves_nodes_smoothly() -> None:
    region, panels = limb()
    layout = make_layout(region, panels, COARSE)
    still = fit(layout, region, panels)
    _, little = limb(across=0.1)
    moved = fit(layout, region, little)
    assert moved.shape == still.shape
    assert 0 < np.abs(moved.nodes - still.nodes).max() < 0.4e-3


@settings(max_examples=25, deadline=None)
@given(
    gap=st.floats(0.012, 0.03),
    across=st.floats(-8, 8),
    along=st.floats(-8, 8),
    fat=st.floats(0.005, 0.06),
    shift=st.floats(-0.02, 0.02),
)
def test_no_cell_folds_over(gap: float, across: float, along: float, fat: float, shift: float) -> None:
    region, panels = limb(gap=gap, across=across, along=along / 2, fat=fat, shift=shift)
    grid = fit(make_layout(region, panels, COARSE), region, panels)
    assert grid.volume.min() > 0


def test_panels_at_different_heights() -> None:
    """Two panels whose edges do not share a level still have all edges on node lines."""
    region, panels = limb(shift=0.02)
    grid = fit(make_layout(region, panels, COARSE), region, panels)
    for number, placed in enumerate(panels):
        levels = on_panel(grid, number)[2]
        middle, half = placed.panel.level_m, placed.panel.length_m / 2
        assert levels.min() == pytest.approx(middle - half, abs=1e-9)
        assert levels.max() == pytest.approx(middle + half, abs=1e-9)
