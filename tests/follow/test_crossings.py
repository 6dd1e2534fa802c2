"""Between entries an estimate moves smoothly: it does not tremble across a limit.

The rules of conduct compare it with limits every few seconds and keep no memory, so that a trembling estimate
would make prompts come and go. The visit is invented.
"""

import numpy as np
import pytest

from evenfield.follow import FieldOn, FollowModel, Input, PowerNow, SkinRead, look, take
from evenfield.follow.follower import begin

EVERY_S = 5.0


@pytest.fixture(scope="module")
def told(model: FollowModel) -> list[list[tuple[float, ...]]]:
    """Every zone's likely and upper values of hottest skin and fat, every 5 s, entry by entry."""
    zone = model.zones[0].label
    entries: list[Input] = [
        FieldOn(0.0),
        PowerNow(0.0, 20.0),
        PowerNow(120.0, 50.0),
        SkinRead(300.0, zone, 35.0),
        SkinRead(600.0, zone, 37.5),
        PowerNow(700.0, 40.0),
    ]
    following = begin(model, np.random.default_rng(1))
    legs = []
    for entry, until_s in zip(entries, [e.at_s for e in entries[1:]] + [1200.0], strict=True):
        following = take(model, following, entry)
        leg = []
        for now_s in np.arange(entry.at_s, until_s, EVERY_S):
            zones = look(model, following, float(now_s)).zones
            leg.append(
                tuple(
                    v for z in zones for i in (z.skin_hottest_c, z.fat_hottest_c) for v in (i.value, i.high90)
                )
            )
        legs.append(leg)
    return legs


@pytest.mark.slow
def test_between_entries_no_value_turns_to_and_fro(told: list[list[tuple[float, ...]]]) -> None:
    worst = 0.0
    for leg in told:
        for series in np.array(leg).T if leg else []:
            change = np.diff(series)
            turns = np.minimum(np.abs(change[1:]), np.abs(change[:-1]))[change[1:] * change[:-1] < 0]
            worst = max(worst, float(np.max(turns, initial=0.0)))
    assert worst < 0.03  # K; 0.012 when written
