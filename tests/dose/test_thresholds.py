"""Published limits: van Rhoon et al., Eur. Radiol. 23:2215 (2013), Rhee et al., IJROBP 20:1009 (1991)."""

from __future__ import annotations

import pytest

from evenfield.dose import THRESHOLDS, Quantity, threshold
from evenfield.tissue import Label


@pytest.mark.parametrize(
    ("name", "limit", "quantity", "label"),
    [
        ("untracked_temperature", 39.0, Quantity.TEMPERATURE_C, Label.P),
        ("dose_uncontrolled", 2.0, Quantity.CEM43_MINUTES, Label.P),
        ("dose_controlled", 9.0, Quantity.CEM43_MINUTES, Label.P),
        ("dose_tolerated", 16.0, Quantity.CEM43_MINUTES, Label.M),
        ("fat_pain", 42.0, Quantity.TEMPERATURE_C, Label.P),
        ("skin_pain", 43.0, Quantity.TEMPERATURE_C, Label.P),
    ],
)
def test_limits_are_as_published(name: str, limit: float, quantity: Quantity, label: Label) -> None:
    item = threshold(name)
    assert (item.limit.value, item.quantity, item.limit.label) == (limit, quantity, label)
    assert item.limit.source
    assert item.meaning


def test_names_are_distinct_and_an_unknown_one_is_refused() -> None:
    assert len({item.name for item in THRESHOLDS}) == len(THRESHOLDS)
    with pytest.raises(
        KeyError, match=r"threshold \\?\"dose\\?\" is not known; allowed: untracked_temperature"
    ):
        threshold("dose")


def test_no_threshold_calls_anything_safe_or_promises_fat_loss() -> None:
    for item in THRESHOLDS:
        for word in ("safe", "fat loss", "destroy", "kill", "reduc"):
            assert word not in item.meaning.lower()
