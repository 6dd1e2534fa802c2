"""Hot spots against peaks put there on purpose, and against the definition by brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenfield.dose import find_hot_spots

GRID = np.stack(np.meshgrid(*[np.arange(0.0, 0.12, 0.004)] * 2, [0.0, 0.004], indexing="ij"), -1).reshape(
    -1, 3
)


def bump(
    at: tuple[float, float], height: float, width: float
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    distance = np.hypot(GRID[:, 0] - at[0], GRID[:, 1] - at[1]) + GRID[:, 2]
    return np.asarray(height * np.exp(-((distance / width) ** 2)))


def test_peaks_are_found_hottest_first_and_flanks_are_not() -> None:
    value = (
        37.0 + bump((0.02, 0.02), 6.0, 0.03) + bump((0.08, 0.08), 4.0, 0.01) + bump((0.1, 0.02), 5.0, 0.02)
    )
    spots = find_hot_spots(value, ["fat"] * len(value), GRID, count=3)
    found = [tuple(round(c, 3) for c in spot.position_m) for spot in spots]
    assert found == [(0.02, 0.02, 0.0), (0.1, 0.02, 0.0), (0.08, 0.08, 0.0)]
    assert [spot.value for spot in spots] == sorted((spot.value for spot in spots), reverse=True)
    assert all(value[spot.index] == spot.value for spot in spots)
    # The broad hot place is one spot: 25 mm down its flank it is still hotter than the third peak.
    flank = np.argmin(np.hypot(GRID[:, 0] - 0.044, GRID[:, 1] - 0.02))
    assert value[flank] > spots[2].value - 1.0


def test_two_peaks_closer_than_asked_are_one() -> None:
    value = 37.0 + bump((0.02, 0.02), 6.0, 0.006) + bump((0.036, 0.02), 5.0, 0.006)
    near = find_hot_spots(value, ["fat"] * len(value), GRID, count=2, apart_m=0.008)
    assert [round(spot.position_m[0], 3) for spot in near] == [0.02, 0.036]
    far = find_hot_spots(value, ["fat"] * len(value), GRID, count=2, apart_m=0.02)
    assert [round(spot.position_m[0], 3) for spot in far] == [0.02]


def test_a_spot_in_skin_does_not_hide_the_one_in_fat_below() -> None:
    value = 37.0 + bump((0.06, 0.06), 6.0, 0.02)
    tissues = np.where(GRID[:, 2] == 0.0, "fat", "skin")
    spots = find_hot_spots(value, tissues, GRID, count=2)
    assert [(spot.tissue, round(spot.position_m[2], 3)) for spot in spots] == [("fat", 0.0), ("skin", 0.004)]


@given(st.integers(0, 10_000), st.integers(1, 60), st.integers(1, 6), st.integers(1, 4))
def test_against_brute_force(seed: int, size: int, count: int, levels: int) -> None:
    """Every pair compared; few distinct values, so that equals are met."""
    rng = np.random.default_rng(seed)
    position = rng.uniform(0.0, 0.06, (size, 3))
    value = rng.integers(0, 10**levels, size).astype(float)
    tissue = rng.choice(["skin", "fat"], size)
    apart = 0.02
    expected = []
    for i in range(size):
        rivals = [
            j
            for j in range(size)
            if tissue[j] == tissue[i] and j != i and np.linalg.norm(position[j] - position[i]) <= apart
        ]
        if all((value[j], -j) < (value[i], -i) for j in rivals):
            expected.append(i)
    expected.sort(key=lambda i: (-value[i], i))
    got = [spot.index for spot in find_hot_spots(value, tissue, position, count=count, apart_m=apart)]
    assert got == expected[:count]


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        # Points at 0, 19 and 22.5 mm, spots 20 mm apart: only the middle one reaches the first.
        ([1.0, 2.0, 3.0], [2]),
        ([2.0, 1.0, 3.0], [2, 0]),
        ([2.0, 2.0, 3.0], [2, 0]),  # of equals the first counts
    ],
)
def test_a_neighbour_that_is_no_spot_itself_still_counts(value: list[float], expected: list[int]) -> None:
    position = np.array([[0.0, 0.0, 0.0], [0.019, 0.0, 0.0], [0.0225, 0.0, 0.0]])
    assert [spot.index for spot in find_hot_spots(value, ["fat"] * 3, position)] == expected
    # The same points in the opposite order: what was first of two equals is last now.
    turned = [2 - spot.index for spot in find_hot_spots(value[::-1], ["fat"] * 3, position[::-1])]
    assert turned == ([2] if value[0] == value[1] else expected)


def test_fewer_spots_than_asked() -> None:
    spots = find_hot_spots([40.0, 41.0], ["fat", "fat"], [[0.0, 0.0, 0.0], [0.0, 0.0, 0.001]])
    assert [spot.index for spot in spots] == [1]
    assert find_hot_spots([], [], np.zeros((0, 3))) == []


@pytest.mark.parametrize(
    ("value", "tissue", "position", "apart_m", "message"),
    [
        ([1.0], ["fat", "skin"], [[0, 0, 0]], 0.02, "hot spots got shapes"),
        ([1.0], ["fat"], [[0, 0]], 0.02, "hot spots got shapes"),
        ([math.nan], ["fat"], [[0, 0, 0]], 0.02, "finite"),
        ([1.0], ["fat"], [[0, 0, math.inf]], 0.02, "finite"),
        ([1.0], ["fat"], [[0, 0, 0]], 0.0, r"apart_m is 0 m; allowed: above 0"),
    ],
)
def test_bad_input_is_refused(
    value: list[float], tissue: list[str], position: list[list[float]], apart_m: float, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        find_hot_spots(value, tissue, position, apart_m=apart_m)
