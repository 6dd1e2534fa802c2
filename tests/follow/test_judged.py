"""A small copy of the judge (`bench.follow_judge`): simulated people who differ from what is believed.

Full order as there, but on the estimate's own grid so that it stays short; the whole judgement, on the finer
grid and 300 people, is in docs/follow.md. Bounds here leave room for the small sample.
"""

import numpy as np
import pytest

from bench.follow_judge import Judged, judge
from bench.follow_truth import Truth, make_truth, plan
from evenfield.follow import FollowModel, prepare

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def followed() -> FollowModel:
    return prepare(plan(0))


@pytest.fixture(scope="module")
def truths() -> list[Truth]:
    return [make_truth(plan(0), 200 + n, coarse=True) for n in range(3)]


@pytest.fixture(scope="module")
def people(followed: FollowModel, truths: list[Truth]) -> list[Judged]:
    return [judge(followed, truth, 10 * n + reader) for n, truth in enumerate(truths) for reader in range(2)]


def test_intervals_hold_the_truth(people: list[Judged]) -> None:
    held = np.concatenate([person.in90 for person in people]).mean(axis=(0, 2))
    assert np.all(held > 0.80)
    assert np.concatenate([person.in50 for person in people]).mean(axis=(0, 2)).max() < 0.80


def test_errors_are_small_and_below_the_forecast_alone(people: list[Judged]) -> None:
    error = np.concatenate([person.error for person in people])
    alone = np.concatenate([person.alone for person in people])
    rms = np.sqrt((error**2).mean(axis=(0, 2)))
    assert rms[0] < 0.6
    assert rms[2] < 0.9
    assert np.all(rms < 0.8 * np.sqrt((alone**2).mean(axis=(0, 2))))


def test_truths_differ_from_what_is_believed(truths: list[Truth]) -> None:
    assert all("doubling" in truth.differs or "constant_flow" in truth.differs for truth in truths)
    assert any("not_infiltrated" in truth.differs for truth in truths)
    assert len({truth.differs for truth in truths}) == 3
