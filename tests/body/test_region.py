"""The region goes through what was measured, is smooth, and refuses what cannot be."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from evenfield.body import MeasurementError, Measurements, Region, RegionKind

ARM = Measurements(
    kind=RegionKind.UPPER_ARM,
    level_m=(-0.08, 0.0, 0.08),
    girth_m=(0.290, 0.300, 0.315),
    width_to_depth=0.9,
    fat_m=((0.010, 0.014, 0.016, 0.013), (0.012, 0.015, 0.018, 0.014), (0.013, 0.016, 0.020, 0.014)),
    skin_m=0.002,
    bone_radius_m=0.011,
    wall_m=0.012,
)
TRUNK = Measurements(
    kind=RegionKind.ABDOMEN,
    level_m=(-0.12, 0.0, 0.12),
    girth_m=(0.880, 0.900, 0.930),
    width_to_depth=1.35,
    fat_m=((0.026, 0.018, 0.018, 0.018), (0.028, 0.020, 0.018, 0.021), (0.026, 0.020, 0.018, 0.020)),
    skin_m=0.002,
    bone_radius_m=0.011,
    wall_m=0.012,
)


@pytest.mark.parametrize("measurements", [ARM, TRUNK], ids=["arm", "trunk"])
def test_perimeter_is_the_measured_girth(measurements: Measurements) -> None:
    """A fine polygon on the skin has the length the tape gave (Richardson's step takes the chords' error)."""
    region = Region(measurements)
    for level, girth in zip(measurements.level_m, measurements.girth_m, strict=True):
        lengths = []
        for n in (2000, 4000):
            points = region.surface_point(np.linspace(0, 2 * np.pi, n + 1), level)
            lengths.append(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
        perimeter = lengths[1] + (lengths[1] - lengths[0]) / 3
        assert perimeter == pytest.approx(girth, rel=1e-9)
        assert region.girth(level) == pytest.approx(girth, rel=1e-14)
        # width to depth, as positioned
        depth = region.skin_radius(0.0, level) + region.skin_radius(np.pi, level)
        width = region.skin_radius(np.pi / 2, level) + region.skin_radius(3 * np.pi / 2, level)
        assert width / depth == pytest.approx(measurements.width_to_depth, rel=1e-12)


def test_ellipse_of_two_to_one_has_the_handbook_perimeter() -> None:
    """Perimeter of the ellipse with semi-axes 2 and 1: 8 E(3/4) = 9.688448220547675 (label C; A&S 17.3)."""
    region = Region(replace(TRUNK, girth_m=(0.9688448220547675,) * 3, width_to_depth=2.0))
    assert region.skin_radius(0.0, 0.0) == pytest.approx(0.1, rel=1e-12)
    assert region.skin_radius(np.pi / 2, 0.0) == pytest.approx(0.2, rel=1e-12)


@pytest.mark.parametrize("measurements", [ARM, TRUNK], ids=["arm", "trunk"])
def test_fat_is_reproduced_where_it_was_measured(measurements: Measurements) -> None:
    region = Region(measurements)
    for level, row in zip(measurements.level_m, measurements.fat_m, strict=True):
        for direction, fat in enumerate(row):
            angle = direction * np.pi / 2
            assert region.fat_thickness(angle, level) == pytest.approx(fat, abs=1e-12)
            assert region.fat_thickness(angle - 6 * np.pi, level) == pytest.approx(fat, abs=1e-12)
            # An end level has no taper, and on an axis of the ellipse the normal is the ray: exact up to the
            # turn that the changing thickness itself brings (none at the directions of most and least fat).
            radii = region.layer_radii(angle, level)
            assert radii[2] - radii[1] == pytest.approx(fat, abs=3e-5)
            assert radii[3] - radii[2] == pytest.approx(measurements.skin_m, abs=1e-5)


def test_angular_interpolation_is_scipys_monotone_one_made_periodic() -> None:
    angle = np.linspace(-1, 7, 401)
    region = Region(ARM)
    row = np.array(ARM.fat_m[1])
    knots = np.arange(-8, 13) * np.pi / 2
    reference = PchipInterpolator(knots, np.take(row, np.arange(-8, 13) % 4))
    np.testing.assert_allclose(region.fat_thickness(angle, 0.0), reference(angle), rtol=0, atol=1e-15)


def test_section_is_constant_and_smooth_beyond_the_ends() -> None:
    region = Region(TRUNK)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    for end, beyond in ((-0.12, -0.3), (0.12, 0.2)):
        np.testing.assert_array_equal(region.layer_radii(angle, beyond), region.layer_radii(angle, end))
        step = 1e-7
        slope = (region.skin_radius(angle, end + step) - region.skin_radius(angle, end - step)) / (2 * step)
        assert np.abs(slope).max() < 1e-6
    assert region.level_range_m == (-0.12, 0.12)


@pytest.mark.parametrize("measurements", [ARM, TRUNK], ids=["arm", "trunk"])
def test_normal_is_square_to_the_surface_and_points_outwards(measurements: Measurements) -> None:
    region = Region(measurements)
    angle = np.linspace(0.05, 2 * np.pi + 0.05, 50, endpoint=False)
    level = np.linspace(-0.11, 0.11, 12)[:, None]
    normal = region.surface_normal(angle, level)
    h = 1e-6
    around = region.surface_point(angle + h, level) - region.surface_point(angle - h, level)
    along = region.surface_point(angle, level + h) - region.surface_point(angle, level - h)
    for tangent in (around, along):
        unit = tangent / np.linalg.norm(tangent, axis=-1, keepdims=True)
        assert np.abs((unit * normal).sum(-1)).max() < 1e-8
    assert np.linalg.norm(normal, axis=-1) == pytest.approx(1)
    assert ((normal * region.surface_point(angle, level)).sum(-1) > 0).all()


def test_arc_lengths() -> None:
    """By numeric integration along the skin and its parallel curve; a whole turn is 2 pi gap longer."""
    region = Region(TRUNK)
    angle = np.linspace(-0.3, 2.2, 20001)
    for gap in (0.0, 0.02):
        normal = region.surface_normal(angle, 0.2)  # no taper there
        curve = region.surface_point(angle, 0.2) + gap * normal
        length = np.linalg.norm(np.diff(curve, axis=0), axis=1).sum()
        arc = region.offset_arc(angle, 0.2, gap)
        assert arc[-1] - arc[0] == pytest.approx(length, rel=1e-7)
    turn = region.offset_arc(2 * np.pi, 0.0, 0.02) - region.offset_arc(0.0, 0.0, 0.02)
    assert turn == pytest.approx(0.900 + 2 * np.pi * 0.02, rel=1e-12)


@pytest.mark.parametrize("measurements", [ARM, TRUNK], ids=["arm", "trunk"])
@pytest.mark.parametrize("distance", [-0.003, 0.005, 0.06])
def test_nearest_finds_the_foot_and_the_distance(measurements: Measurements, distance: float) -> None:
    region = Region(measurements)
    angle = np.linspace(-3, 3, 37)
    level = np.linspace(-0.1, 0.1, 9)[:, None]
    points = region.surface_point(angle, level) + distance * region.surface_normal(angle, level)
    foot_angle, foot_level, found = region.nearest(points)
    np.testing.assert_allclose(found, distance, rtol=0, atol=1e-9)
    np.testing.assert_allclose(foot_angle, np.broadcast_to(angle, foot_angle.shape), rtol=0, atol=1e-6)
    np.testing.assert_allclose(foot_level, np.broadcast_to(level, foot_level.shape), rtol=0, atol=1e-6)


@pytest.mark.parametrize(
    ("angle_shape", "level_shape"), [((), ()), ((5,), ()), ((5,), (3, 1)), ((3, 5), (3, 5)), ((), (4,))]
)
def test_everything_broadcasts(angle_shape: tuple[int, ...], level_shape: tuple[int, ...]) -> None:
    angle = np.linspace(0, 1, int(np.prod(angle_shape))).reshape(angle_shape)
    level = np.linspace(-0.1, 0.1, int(np.prod(level_shape))).reshape(level_shape)
    shape = np.broadcast_shapes(angle_shape, level_shape)
    for measurements in (ARM, TRUNK):
        region = Region(measurements)
        assert region.layer_radii(angle, level).shape == (4, *shape)
        assert region.skin_radius(angle, level).shape == shape
        assert region.fat_thickness(angle, level).shape == shape
        assert region.surface_point(angle, level).shape == (*shape, 3)
        assert region.surface_normal(angle, level).shape == (*shape, 3)
        whole = region.layer_radii(*np.broadcast_arrays(angle, level))
        np.testing.assert_allclose(region.layer_radii(angle, level), whole, rtol=0, atol=1e-12)


def test_single_level_is_a_straight_body() -> None:
    one = replace(ARM, level_m=(0.0,), girth_m=(0.3,), fat_m=((0.01, 0.01, 0.01, 0.01),))
    region = Region(one)
    np.testing.assert_array_equal(
        region.skin_radius(0.3, np.array([-1.0, 0.0, 1.0])), np.full(3, region.skin_radius(0.3, 0.0))
    )
    assert region.level_range_m == (-0.12, 0.12)


sizes = st.floats(0.002, 0.06)


@settings(max_examples=60, deadline=None)
@given(
    kind=st.sampled_from(list(RegionKind)),
    girths=st.lists(st.floats(0.15, 1.8), min_size=1, max_size=4),
    ratio=st.floats(0.5, 2.5),
    fat=st.lists(st.tuples(sizes, sizes, sizes, sizes), min_size=4, max_size=4),
    skin=st.floats(0.0005, 0.005),
)
def test_layers_are_ordered_and_fat_stays_between_the_measured_or_the_region_is_refused(
    kind: RegionKind,
    girths: list[float],
    ratio: float,
    fat: list[tuple[float, float, float, float]],
    skin: float,
) -> None:
    n = len(girths)
    measurements = Measurements(
        kind=kind,
        level_m=tuple(0.08 * i for i in range(n)),
        girth_m=tuple(girths),
        width_to_depth=ratio,
        fat_m=tuple(fat[:n]),
        skin_m=skin,
        bone_radius_m=0.011,
        wall_m=0.012,
    )
    try:
        region = Region(measurements)
    except MeasurementError:  # its sentence has its own test
        return
    angle = np.linspace(0, 2 * np.pi, 97)
    level = np.linspace(-0.05, 0.08 * n, 41)[:, None]
    radii = region.layer_radii(angle, level)
    assert (radii[0] > 0).all()
    assert (np.diff(radii, axis=0) > 0).all()
    thickness = region.fat_thickness(angle, level)
    assert thickness.min() >= np.min(fat[:n]) - 1e-12
    assert thickness.max() <= np.max(fat[:n]) + 1e-12


def test_fat_that_fills_the_limb_is_refused_with_its_place() -> None:
    fat = (ARM.fat_m[0], (0.012, 0.015, 0.045, 0.014), ARM.fat_m[2])
    with pytest.raises(MeasurementError) as refused:
        Region(replace(ARM, fat_m=fat))
    assert str(refused.value).startswith("region.fat_mm = 45 (back, level 0 mm): with a girth of 300 mm")
    assert "a bone of radius 11 mm" in str(refused.value)
    assert refused.value.key == "region.fat_mm"
    assert refused.value.value == 45


def test_fat_that_fills_the_trunk_is_refused() -> None:
    thick = replace(TRUNK, girth_m=(0.5, 0.5, 0.5), width_to_depth=1.0, fat_m=((0.05, 0.05, 0.05, 0.05),) * 3)
    with pytest.raises(MeasurementError, match=r"leaves no room for a muscle wall of 12 mm and the core"):
        Region(thick)


def test_fat_deeper_than_the_bend_of_the_skin_is_refused() -> None:
    """At the narrow end of an ellipse with semi-axes a < b the radius of curvature is a²/b: 47 mm here."""
    narrow = replace(TRUNK, girth_m=(0.9, 0.9, 0.9), width_to_depth=2.0)
    Region(replace(narrow, fat_m=((0.02, 0.024, 0.02, 0.024),) * 3))
    with pytest.raises(MeasurementError) as refused:
        Region(replace(narrow, fat_m=((0.02, 0.045, 0.02, 0.02),) * 3))
    assert str(refused.value).startswith("region.fat_mm = 45 (inner, level -120 mm): with a girth of 900 mm")
    assert "this reaches past the centre of the bend; less fat" in str(refused.value)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"girth_m": (0.3, 0.3)},
            "region.girth_mm has 2 entries but region.levels_mm has 3: one per level is needed",
        ),
        (
            {"fat_m": ARM.fat_m[:1]},
            "region.fat_mm has 1 entries but region.levels_mm has 3: one per level is needed",
        ),
        (
            {"level_m": (0.0, 0.0, 0.1)},
            "region.levels_mm = [0.0, 0.0, 100.0] must ascend, each level only once",
        ),
        ({"skin_m": 0.0}, "region.skin_mm must be a finite number above zero"),
        ({"girth_m": (0.3, float("nan"), 0.3)}, "region.girth_mm must be a finite number above zero"),
        (
            {"level_m": (), "girth_m": (), "fat_m": ()},
            "region.girth_mm is empty: at least one girth is needed",
        ),
        (
            {"fat_m": ((0.01, 0.01, 0.01),) * 3},
            "region.fat_mm needs four values per level: front, inner, back and outer",
        ),
    ],
)
def test_measurements_that_do_not_fit_together(change: dict[str, object], sentence: str) -> None:
    with pytest.raises(MeasurementError) as refused:
        replace(ARM, **change)  # type: ignore[arg-type]
    assert str(refused.value) == sentence
