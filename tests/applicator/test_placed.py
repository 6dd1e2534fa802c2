"""A panel in place: closed forms on a straight circular body, and the sign conventions."""

from dataclasses import replace
from math import cos, pi, radians, sin, tan

import numpy as np
import pytest

from evenfield.applicator import Panel, PanelShape, place
from evenfield.body import Measurements, Region, RegionKind

RADIUS = 0.05
GAP = 0.012
CYLINDER = Region(
    Measurements(
        kind=RegionKind.UPPER_ARM,
        level_m=(-0.1, 0.1),
        girth_m=(2 * pi * RADIUS,) * 2,
        width_to_depth=1.0,
        fat_m=((0.015,) * 4,) * 2,
        skin_m=0.002,
        bone_radius_m=0.011,
        wall_m=0.012,
    )
)
TRUNK = Region(
    Measurements(
        kind=RegionKind.ABDOMEN,
        level_m=(-0.12, 0.0, 0.12),
        girth_m=(0.86, 0.9, 0.96),
        width_to_depth=1.35,
        fat_m=((0.028, 0.02, 0.018, 0.02),) * 3,
        skin_m=0.002,
        bone_radius_m=0.011,
        wall_m=0.012,
    )
)
PANEL = Panel("inner", PanelShape.FLAT, pi / 2, 0.01, 0.09, 0.14, GAP)
SHAPES = [PanelShape.FLAT, PanelShape.CURVED]
U = np.linspace(-0.045, 0.045, 7)[:, None]
V = np.linspace(-0.07, 0.07, 9)


@pytest.mark.parametrize("tilt_deg", [-8, 0, 5])
def test_flat_panel_over_a_cylinder_tilted_across(tilt_deg: float) -> None:
    """Point at (R + g + u sin t) outwards and u cos t aside: distance to the skin by Pythagoras (label C)."""
    t = radians(tilt_deg)
    placed = place(replace(PANEL, tilt_across_rad=t), CYLINDER)
    expected = np.hypot(RADIUS + GAP + U * sin(t), U * cos(t)) - RADIUS
    np.testing.assert_allclose(placed.clearance(U, V), np.broadcast_to(expected, (7, 9)), atol=1e-12)
    angle, level, radius = placed.polar(U, V)
    np.testing.assert_allclose(radius, np.broadcast_to(expected + RADIUS, (7, 9)), atol=1e-12)
    around = pi / 2 + np.arctan2(U * cos(t), RADIUS + GAP + U * sin(t))
    np.testing.assert_allclose(angle, np.broadcast_to(around, (7, 9)), atol=1e-12)
    np.testing.assert_allclose(level, np.broadcast_to(0.01 + V, (7, 9)), atol=1e-12)


@pytest.mark.parametrize("tilt_deg", [-6, 3])
def test_flat_panel_over_a_cylinder_tilted_along(tilt_deg: float) -> None:
    t = radians(tilt_deg)
    placed = place(replace(PANEL, tilt_along_rad=t), CYLINDER)
    expected = np.hypot(RADIUS + GAP + V * sin(t), U) - RADIUS
    np.testing.assert_allclose(placed.clearance(U, V), expected, atol=1e-12)
    assert placed.nearest_gap_m == pytest.approx(GAP - 0.07 * abs(sin(t)), abs=1e-12)
    assert placed.nearest_place == pytest.approx((0.0, -0.07 if t > 0 else 0.07), abs=1e-12)


@pytest.mark.parametrize(("across_deg", "along_deg"), [(0, 0), (4, 0), (0, -5), (3, 2)])
def test_curved_panel_keeps_its_distance_and_its_arc_length(across_deg: float, along_deg: float) -> None:
    a, b = radians(across_deg), radians(along_deg)
    panel = replace(PANEL, shape=PanelShape.CURVED, tilt_across_rad=a, tilt_along_rad=b)
    placed = place(panel, CYLINDER)
    distance = GAP + U * tan(a) + V * tan(b)
    np.testing.assert_allclose(placed.clearance(U, V), distance, atol=1e-12)
    angle, level, radius = placed.polar(U, V)
    np.testing.assert_allclose(radius, RADIUS + distance, atol=1e-12)
    np.testing.assert_allclose(angle, np.broadcast_to(pi / 2 + U / (RADIUS + GAP), (7, 9)), atol=1e-12)
    np.testing.assert_allclose(level, np.broadcast_to(0.01 + V, (7, 9)), atol=1e-12)


def test_curved_panel_on_a_tapered_ellipse_has_its_width_and_length() -> None:
    """Edge lengths by adding up chords; the taper is not followed exactly (see the module's docstring)."""
    panel = Panel("left", PanelShape.CURVED, radians(40), 0.0, 0.2, 0.15, 0.015)
    placed = place(panel, TRUNK)
    u, v = placed.mesh(400)

    def length(points: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
        return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())

    assert length(placed.point(u, 0.0)) == pytest.approx(0.2, rel=1e-3)
    assert length(placed.point(u, 0.07)) == pytest.approx(0.2, rel=5e-3)
    assert length(placed.point(0.0, v)) == pytest.approx(0.15, rel=1e-2)
    np.testing.assert_allclose(placed.clearance(u[::40, None], v[::40]), 0.015, atol=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("angle_deg", [0, 24, 90, 150, 200, 336, -24])
def test_centre_frame_and_gap(shape: PanelShape, angle_deg: float) -> None:
    placed = place(Panel("any", shape, radians(angle_deg), 0.02, 0.11, 0.15, 0.012), TRUNK)
    np.testing.assert_allclose(placed.point(0.0, 0.0), placed.centre, atol=1e-12)
    assert placed.clearance(0.0, 0.0) == pytest.approx(0.012, abs=1e-9)
    frame = np.array([placed.across, placed.along, placed.normal])
    np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-14)
    np.testing.assert_allclose(np.cross(placed.across, placed.along), placed.normal, atol=1e-14)
    np.testing.assert_allclose(placed.normal, TRUNK.surface_normal(radians(angle_deg), 0.02), atol=1e-14)
    # u grows with the angle, v with the level; the across axis of an untilted panel is horizontal
    angle, level, _ = placed.polar(np.array([-0.05, 0.0, 0.05]), 0.0)
    assert (np.diff(angle) > 0).all()
    assert abs(angle[1] - radians(angle_deg)) < 0.1
    assert placed.across[2] == 0
    assert (np.diff(placed.polar(0.0, np.array([-0.05, 0.0, 0.05]))[1]) > 0).all()
    assert level.max() - level.min() < 0.01


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("region", [CYLINDER, TRUNK], ids=["cylinder", "trunk"])
def test_positive_tilts_lift_the_edges_of_increasing_angle_and_level(
    shape: PanelShape, region: Region
) -> None:
    panel = replace(PANEL, shape=shape)
    flat, across, along = (
        place(p, region)
        for p in (panel, replace(panel, tilt_across_rad=0.05), replace(panel, tilt_along_rad=0.05))
    )
    assert across.clearance(0.045, 0.0) > flat.clearance(0.045, 0.0) + 0.001
    assert across.clearance(-0.045, 0.0) < flat.clearance(-0.045, 0.0) - 0.001
    assert along.clearance(0.0, 0.07) > flat.clearance(0.0, 0.07) + 0.002
    assert along.clearance(0.0, -0.07) < flat.clearance(0.0, -0.07) - 0.002
    for tilted in (across, along):
        assert tilted.clearance(0.0, 0.0) == pytest.approx(GAP, abs=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("angle_deg", [0, 24, 100, 180, 275, -30])
def test_local_inverts_polar(shape: PanelShape, angle_deg: float) -> None:
    panel = Panel(
        "any", shape, radians(angle_deg), 0.01, 0.12, 0.15, 0.015, tilt_across_rad=0.05, tilt_along_rad=-0.04
    )
    placed = place(panel, TRUNK)
    u, v = placed.mesh(9)
    angle, level, _ = placed.polar(u[:, None], v)
    found_u, found_v = placed.local(angle + 2 * pi, level)
    np.testing.assert_allclose(found_u, np.broadcast_to(u[:, None], (9, 9)), atol=1e-9)
    np.testing.assert_allclose(found_v, np.broadcast_to(v, (9, 9)), atol=1e-9)


def test_a_ray_that_never_meets_a_flat_panel_gives_nan() -> None:
    u, v = place(PANEL, CYLINDER).local(np.array([pi / 2, 3 * pi / 2]), 0.0)
    assert np.isfinite([u[0], v[0]]).all()
    assert np.isnan([u[1], v[1]]).all()


def test_clearance_is_the_shortest_distance() -> None:
    """Against the nearest of a dense cloud of skin points, for a tilted flat panel over the tapered trunk."""
    placed = place(replace(PANEL, angle_rad=radians(60), tilt_across_rad=0.1, tilt_along_rad=-0.05), TRUNK)
    angle = np.linspace(-0.2, 2.2, 1601)
    cloud = TRUNK.surface_point(angle, np.linspace(-0.12, 0.12, 601)[:, None]).reshape(-1, 3)
    for u, v in ((0.045, 0.07), (-0.045, 0.07), (0.0, -0.07), (0.02, 0.03)):
        nearest = np.linalg.norm(cloud - placed.point(u, v), axis=1).min()
        assert placed.clearance(u, v) == pytest.approx(nearest, abs=1e-5)


def test_clearance_is_negative_inside_the_skin() -> None:
    placed = place(replace(PANEL, gap_m=0.004, tilt_along_rad=radians(8)), CYLINDER)
    assert placed.clearance(0.0, -0.07) == pytest.approx(0.004 - 0.07 * sin(radians(8)), abs=1e-12)
    assert placed.nearest_gap_m < 0
