"""What is shown: intervals, time in band, dose, minutes to the band, pause left, curves."""

from dataclasses import replace

import numpy as np
import pytest

from evenfield.dose import cem43, minutes_in_band
from evenfield.follow import (
    FieldOff,
    FieldOn,
    Following,
    FollowModel,
    Input,
    Interval,
    LiveEstimate,
    PowerNow,
    SkinRead,
    follow,
    look,
    settled,
    take,
)
from evenfield.follow.follower import past_temperatures, temperatures
from evenfield.follow.outlook import AHEAD_MINUTES, QUANTILES, intervals


@pytest.fixture(scope="module")
def warmed(model: FollowModel) -> Following:
    """Twenty minutes at 40 W, one reading per zone: most of the fat is in the band of 40 to 43 °C."""
    entries: list[Input] = [PowerNow(0.0, 36.0), FieldOn(0.0)]
    read = [SkinRead(900.0, zone.label, 38.6) for zone in model.zones]
    return follow(model, [*entries, *read], 1200.0, np.random.default_rng(5))


@pytest.fixture(scope="module")
def estimate(model: FollowModel, warmed: Following) -> LiveEstimate:
    return look(model, warmed, 1230.0)


def ordered(i: Interval) -> bool:
    return i.low90 <= i.low50 <= i.value <= i.high50 <= i.high90


def test_intervals_hold_their_share_of_members() -> None:
    """Of the numbers 1 to 100: median 50, middle half 25 to 75, middle nine tenths 5 to 95."""
    values = np.random.default_rng(0).permutation(np.arange(1.0, 101.0))
    assert intervals(values).tolist() == [50.0, 25.0, 75.0, 5.0, 95.0]
    assert QUANTILES == (0.5, 0.25, 0.75, 0.05, 0.95)
    assert intervals(np.append(values, np.inf))[4] == 96.0


def test_all_that_is_shown_is_in_order(estimate: LiveEstimate) -> None:
    for zone in estimate.zones:
        for shown in (
            zone.skin_mean_c,
            zone.skin_hottest_c,
            zone.fat_mean_c,
            zone.fat_hottest_c,
            zone.minutes_in_band,
            zone.cem43_skin,
            zone.cem43_fat,
            zone.minutes_to_band,
        ):
            assert ordered(shown)
        assert zone.skin_hottest_c.value > zone.skin_mean_c.value
        assert zone.fat_hottest_c.value > zone.fat_mean_c.value
        assert zone.fat_mean_c.high90 - zone.fat_mean_c.low90 > 0.3
    assert all(ordered(value) for value in estimate.learned.values())
    assert estimate.at_s == 1230.0


def test_band_and_dose_are_those_of_each_members_curve(
    model: FollowModel, warmed: Following, estimate: LiveEstimate
) -> None:
    now = temperatures(model, settled(model, warmed, 1200.0))
    curve = past_temperatures(model, warmed)
    assert curve[-1] == pytest.approx(now, abs=1e-4)
    at_tick = look(model, warmed, 1200.0)
    minutes = np.array(warmed.ticks_s) / 60.0
    for n in (0, 4, 13):
        dose = np.sort(cem43(minutes, curve[:, ::2, 3, n]))
        band = np.sort(minutes_in_band(minutes, curve[:, ::2, 2, n], 40.0, 43.0))
        assert at_tick.zones[n].cem43_fat.value == pytest.approx(dose[31], rel=1e-4)
        assert at_tick.zones[n].cem43_fat.high90 == pytest.approx(dose[60], rel=1e-4)
        assert at_tick.zones[n].minutes_in_band.value == pytest.approx(band[31], abs=1e-3)
        assert estimate.zones[n].cem43_fat.value >= at_tick.zones[n].cem43_fat.value


def test_a_pause_lasts_as_long_as_it_would(model: FollowModel, warmed: Following) -> None:
    """The field off for the time said leaves mean fat at the low end of the band, within the minute's line
    and the members looked at."""
    left = look(model, warmed, 1200.0).pause_left_s
    assert left is not None
    assert 60.0 < left.value < 60.0 * AHEAD_MINUTES
    off = take(model, warmed, FieldOff(1200.0))
    fat = [
        float(np.median(temperatures(model, settled(model, off, at))[:, 2] @ model.area))
        for at in (1200.0, 1200.0 + 60.0 * round(left.value / 60.0))
    ]
    assert fat[0] > 40.3
    assert fat[1] == pytest.approx(40.0, abs=0.25)


def test_minutes_to_the_band_come_true(model: FollowModel) -> None:
    cold = follow(model, [PowerNow(0.0, 36.0), FieldOn(0.0)], 240.0, np.random.default_rng(5))
    shown = look(model, cold, 240.0)
    assert shown.pause_left_s is None
    minutes = shown.minutes_to_band.value
    assert 0.5 < minutes < AHEAD_MINUTES
    later = settled(model, cold, 240.0 + 60.0 * round(minutes))
    assert np.median(temperatures(model, later)[:, 2] @ model.area) == pytest.approx(40.0, abs=0.4)
    unheated = look(model, take(model, cold, FieldOff(240.0)), 240.0)
    assert unheated.minutes_to_band.value == np.inf


def test_the_curves_meet_now(model: FollowModel, warmed: Following, estimate: LiveEstimate) -> None:
    so_far, ahead = estimate.so_far, estimate.ahead
    assert so_far.minutes[-1] == ahead.minutes[0] == 20.5
    assert so_far.minutes[0] == 0.0
    assert ahead.minutes[-1] == 20.5 + AHEAD_MINUTES
    assert ahead.fat_mean_c[0] == pytest.approx(so_far.fat_mean_c[-1], abs=0.6)
    assert np.all(np.diff(so_far.fat_mean_c[:15, 0]) > 0)
    off = look(model, take(model, warmed, FieldOff(1200.0)), 1230.0)
    assert off.ahead.fat_mean_c[-1, 0] < ahead.fat_mean_c[-1, 0] - 1.0


def test_intervals_widen_ahead_where_power_is_not_known_well(model: FollowModel) -> None:
    start: list[Input] = [PowerNow(0.0, 36.0), FieldOn(0.0)]
    read = [SkinRead(0.0, zone.label, 34.5) for zone in model.zones]
    fat = look(model, follow(model, [*start, *read], 60.0, np.random.default_rng(5)), 60.0).ahead.fat_mean_c
    assert fat[-1, 4] - fat[-1, 3] > 1.5 * (fat[0, 4] - fat[0, 3])


def test_before_anything_there_is_no_dose(model: FollowModel) -> None:
    shown = look(model, follow(model, [], 0.0, np.random.default_rng(5)), 0.0)
    assert all(zone.cem43_fat == Interval(0.0, 0.0, 0.0, 0.0, 0.0) for zone in shown.zones)
    assert replace(shown.zones[0]).minutes_in_band.high90 == 0.0
