"""Following a visit: same numbers on rebuilding, and what each entry may and may not do."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from evenfield.follow import (
    ComfortSaid,
    FieldOff,
    FieldOn,
    FollowError,
    Following,
    FollowModel,
    HotSpotSaid,
    Input,
    PanelShift,
    PowerNow,
    SkinRead,
    TuningNow,
    begin,
    follow,
    look,
    settled,
    take,
)
from evenfield.follow.follower import absorbed_w, past_temperatures, state_of, temperatures
from evenfield.follow.members import columns, heat_parameters, raw_zones, source_mix, thermometer_k
from evenfield.heat.reduced import ReducedHeat

Floats = NDArray[np.float64]
PLACE = "inner: centre"


def rng() -> np.random.Generator:
    return np.random.default_rng(2)


def entries(model: FollowModel) -> list[Input]:
    """A visit of 20 minutes with a bit of everything. Invented."""
    read: list[Input] = [
        SkinRead(at, zone.label, 34.5 + at / 400.0 + 0.2 * (n % 3))
        for at in (0.0, 310.0, 605.0, 905.0)
        for n, zone in enumerate(model.zones[::2])
    ]
    return [
        PowerNow(0.0, 28.0),
        TuningNow(0.0, 85.0),
        FieldOn(10.0),
        ComfortSaid(300.0, 6.0),
        PanelShift(420.0, "inner", 0.003),
        HotSpotSaid(450.0, panel="outer"),
        FieldOff(700.0),
        FieldOn(790.0),
        PowerNow(800.0, 24.0),
        *read,
    ]


def warm(model: FollowModel, until_s: float = 900.0) -> Following:
    return follow(model, [PowerNow(0.0, 28.0), FieldOn(0.0)], until_s, rng())


def same(a: Following, b: Following) -> bool:
    return all(
        np.array_equal(getattr(a, name), getattr(b, name)) for name in ("coordinates", "xi", "past", "shift")
    ) and (a.at_s, a.ticks_s, a.surprises, a.disagreements) == (
        b.at_s,
        b.ticks_s,
        b.surprises,
        b.disagreements,
    )


def test_rebuilt_from_its_entries_it_is_the_same_to_the_last_digit(model: FollowModel) -> None:
    """However often it is asked, and whenever it is rebuilt."""
    once = follow(model, entries(model), 1200.0, rng())
    asked = begin(model, rng())
    for entry in sorted(entries(model), key=lambda entry: entry.at_s):
        for now in (asked.at_s + 7.0, asked.at_s + 41.3):
            if now < entry.at_s:
                look(model, asked, now)
                asked = settled(model, asked, now)
        asked = take(model, asked, entry)
    asked = settled(model, asked, 1200.0)
    assert same(once, asked)
    assert look(model, once, 1230.0).zones == look(model, asked, 1230.0).zones


def test_equal_times_keep_their_order(model: FollowModel) -> None:
    at: list[Input] = [PowerNow(60.0, 20.0), PowerNow(60.0, 30.0), FieldOn(60.0)]
    assert follow(model, at, 120.0, rng()).watts == 30.0


def test_a_late_entry_asks_for_a_rebuild(model: FollowModel) -> None:
    with pytest.raises(FollowError, match="rebuild from all entries"):
        take(model, warm(model), PowerNow(60.0, 20.0))


def test_an_unknown_place_is_kept_as_a_sentence(model: FollowModel) -> None:
    before = warm(model, 60.0)
    after = take(model, before, SkinRead(60.0, "inner: nowhere", 36.0))
    assert after.unused == ('no zone "inner: nowhere" in the plan: a skin reading was not used',)
    assert same(replace(after, unused=()), before)
    assert len(take(model, after, PanelShift(60.0, "third", 0.002)).unused) == 2
    assert len(take(model, after, HotSpotSaid(60.0, "inner: nowhere")).unused) == 2


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: PowerNow(0.0, -1.0), "power = -1 W; allowed: 0 to 2000 W"),
        (lambda: TuningNow(0.0, 120.0), "tuning = 120 %; allowed: 0 to 100 %"),
        (lambda: SkinRead(0.0, PLACE, 70.0), "skin reading = 70 °C; allowed: 10 to 60 °C"),
        (lambda: SkinRead(0.0, PLACE, 36.0, 0.0), "error of the skin reading = 0 K"),
        (lambda: ComfortSaid(0.0, 11.0), "comfort = 11"),
        (lambda: PanelShift(0.0, "inner", 1.0), "move = 1 m"),
        (
            lambda: PanelShift(0.0, "inner", 0.001, "left"),  # type: ignore[arg-type]
            'part of the panel = "left"; allowed: whole',
        ),
    ],
)
def test_bad_values_are_refused(make: object, sentence: str) -> None:
    with pytest.raises(FollowError, match=sentence.replace("(", r"\(")):
        make()  # type: ignore[operator]


def test_a_member_is_the_reduced_model_with_its_parameters(model: FollowModel) -> None:
    """Between readings a member goes as the heat model does with that member's parameters and power."""
    known = {"forget_s": replace(model.prior.forget_s, value=1e12)}
    known["flow_law"] = replace(model.prior.flow_law, value=0.0)
    model = replace(model, prior=replace(model.prior, **known))
    following = begin(model, rng())
    heat: ReducedHeat = model.heat
    state = heat.start(heat_parameters(model, following.xi, following.shift))
    share = model.fraction.mid * np.exp(
        model.prior.fraction_sd(model.fraction) * following.xi[:, columns(model).whole("fraction")]
    )
    after = follow(model, [PowerNow(0.0, 28.0), TuningNow(0.0, 45.0), FieldOn(0.0)], 300.0, rng())
    # half the usual tuning lets half the power through
    for _ in range(5):
        state = heat.advance(state, share * 14.0, 60.0, step_s=30.0)
    assert heat.zone_means(state) == pytest.approx(
        np.stack([after.past[-1][:, 0], after.past[-1][:, 2]], axis=-1).reshape(after.members, -1), abs=1e-4
    )


def test_blood_answers_warming_by_each_members_own_law(model: FollowModel) -> None:
    """Fat's and muscle's flow changes by e^(ξ · 0.06) per kelvin of warmer fat, skin's does not."""
    following = warm(model)
    plain = heat_parameters(model, following.xi, following.shift)
    own = state_of(model, following).parameters
    fat = raw_zones(model, state_of(model, following))[:, 2]
    warmer = (fat - model.heat.zone_start_c[1::2]) @ model.area
    assert warmer.min() > 1.0
    expected = np.exp(model.prior.flow_law.value * following.xi[:, columns(model).whole("flow_law")] * warmer)
    layers = model.heat.layers
    for layer in ("fat", "muscle"):
        found = own.flow[:, layers.index(layer)] / plain.flow[:, layers.index(layer)]
        assert found == pytest.approx(expected, rel=1e-5)
    assert np.array_equal(own.flow[:, layers.index("skin")], plain.flow[:, layers.index("skin")])
    law = following.xi[:, columns(model).whole("flow_law")]
    assert np.corrcoef(law, fat.mean(axis=1))[0, 1] < -0.05  # more blood, cooler fat


def test_no_power_unless_on(model: FollowModel) -> None:
    following = follow(model, [PowerNow(0.0, 28.0)], 600.0, rng())
    assert not absorbed_w(model, following).any()
    assert temperatures(model, following).mean() == pytest.approx(
        float(temperatures(model, begin(model, rng())).mean()), abs=0.02
    )
    paused = take(model, warm(model), FieldOff(900.0))
    assert not absorbed_w(model, paused).any()
    later = settled(model, paused, 1200.0)
    assert temperatures(model, later)[:, 2].mean() < temperatures(model, paused)[:, 2].mean() - 0.5


def test_a_reading_narrows_and_moves_towards_itself(model: FollowModel) -> None:
    before = warm(model)
    zone = model.zone_number(PLACE)
    assert zone is not None
    expected = temperatures(model, before)[:, 0, zone]
    after = take(model, before, SkinRead(900.0, PLACE, float(expected.mean()) + 0.8))
    found = temperatures(model, after)
    assert expected.mean() + 0.1 < found[:, 0, zone].mean() < expected.mean() + 0.8
    assert found[:, 0].std(axis=0)[zone] < 0.7 * expected.std()
    # it speaks of fat and of the minutes before, too, if less surely
    then, now = past_temperatures(model, before)[-3], past_temperatures(model, after)[-3]
    assert now[:, 0, zone].mean() > then[:, 0, zone].mean() + 0.1
    assert now[:, 0, zone].std() < then[:, 0, zone].std()
    assert found[:, 2, zone].mean() > temperatures(model, before)[:, 2, zone].mean()
    assert after.disagreements == ()


def test_a_zones_own_miss_is_not_told_by_another_zone(model: FollowModel) -> None:
    before = warm(model)
    after = take(model, before, SkinRead(900.0, PLACE, 39.0))
    zone, at = model.zone_number(PLACE), columns(model)
    assert zone is not None
    other = np.setdiff1d(np.arange(at.common.stop, at.count), at.zone(zone))
    assert np.array_equal(after.xi[:, other], before.xi[:, other])
    assert not np.array_equal(after.xi[:, at.zone(zone)], before.xi[:, at.zone(zone)])


def test_the_thermometers_offset_is_learned_before_heating(model: FollowModel) -> None:
    """Every zone reads low together: part skin, part thermometer, and less sure of neither than before."""
    before = begin(model, rng())
    skin = temperatures(model, before)[:, 0].mean(axis=0)
    after = before
    for zone, c in zip(model.zones, skin, strict=True):
        after = take(model, after, SkinRead(0.0, zone.label, float(c) - 0.6))
    offset = thermometer_k(model, after.xi)
    assert -0.6 < offset.mean() < -0.03
    assert -0.6 < (temperatures(model, after)[:, 0].mean(axis=0) - skin).mean() < -0.2
    assert offset.std() < thermometer_k(model, before.xi).std()


def test_a_reading_beyond_belief_is_said_and_widens(model: FollowModel) -> None:
    before = warm(model)
    zone = model.zone_number(PLACE)
    assert zone is not None
    spread = temperatures(model, before)[:, 0, zone].std()
    mean = float(temperatures(model, before)[:, 0, zone].mean())
    after = take(model, before, SkinRead(900.0, PLACE, mean - 8.0))
    (said,) = after.disagreements
    assert said.zone == PLACE
    assert said.surprise < -3.5
    assert str(said).startswith(f"{PLACE}: skin read at {mean - 8.0:.1f} °C, 8.0 °C below what was expected")
    assert temperatures(model, after)[:, 0, zone].std() > 1.3 * spread
    outlook = look(model, after, 900.0)
    assert [z.zone for z in outlook.zones if z.disagrees] == [PLACE]
    assert len(outlook.disagreements) == 1
    assert look(model, settled(model, after, 1560.0), 1560.0).disagreements == ()


def test_many_readings_a_little_off_are_beyond_belief_together(model: FollowModel) -> None:
    """Up and down by two expected spreads, so that no state of the model could explain them."""
    following, spreads = warm(model), [0.0]
    for n in range(16):
        skin = temperatures(model, following)[:, 0]
        spreads.append(float(skin[:, 13].std()))
        if following.disagreements:
            break
        # what is expected of a reading there: spread of skin, thermometer, its error and the spot's
        expected = float(np.hypot(skin[:, 0].std(), 0.7))
        off = 2.3 * expected if n % 2 else -2.3 * expected
        reading = SkinRead(900.0, model.zones[0].label, float(skin[:, 0].mean()) + off)
        following = take(model, following, reading)
    (said,) = following.disagreements
    assert 1.5 < abs(said.surprise) < 3.5
    # doubt about the whole widens the zones that were not read, too
    assert spreads[-1] > 1.2 * spreads[-2]


def test_comfort_and_silence_prove_nothing(model: FollowModel) -> None:
    before = warm(model)
    assert take(model, before, ComfortSaid(900.0, 10.0)) == before
    assert take(model, before, ComfortSaid(900.0, 8.0)) == before


def test_discomfort_speaks_weakly_and_only_of_heat(model: FollowModel) -> None:
    before = warm(model, 300.0)
    hottest = temperatures(model, before)[:, 1].max(axis=1)
    after = temperatures(model, take(model, before, ComfortSaid(300.0, 2.0)))[:, 1].max(axis=1)
    assert 0.05 < after.mean() - hottest.mean() < 0.5 * (44.0 - hottest.mean())
    hot = follow(model, [PowerNow(0.0, 120.0), FieldOn(0.0)], 900.0, rng())
    assert temperatures(model, hot)[:, 1].max(axis=1).mean() > 44.0
    assert take(model, hot, ComfortSaid(900.0, 2.0)) == hot


def test_a_hot_spot_speaks_of_its_place(model: FollowModel) -> None:
    before = warm(model)
    zone = model.zone_number("outer: upper back")
    assert zone is not None
    after = take(model, before, HotSpotSaid(900.0, zone="outer: upper back"))
    rise = (temperatures(model, after) - temperatures(model, before))[:, 1].mean(axis=0)
    assert rise[zone] == rise.max()
    assert 0.1 < rise[zone] < 1.5
    under_panel = take(model, before, HotSpotSaid(900.0, panel="outer"))
    moved = (temperatures(model, under_panel) - temperatures(model, before))[:, 1].mean(axis=0)
    assert moved[9:].mean() > moved[:9].mean()


@pytest.mark.parametrize(
    ("part", "nearer", "farther"),
    [("rising_level", "lower", "upper"), ("falling_level", "upper", "lower")],
)
def test_a_moved_side_heats_less_than_the_other(
    model: FollowModel, part: str, nearer: str, farther: str
) -> None:
    """Levels rise towards "upper": what is lifted away from the skin heats less."""
    before = warm(model, 300.0)
    shift = PanelShift(300.0, "inner", 0.006, part)  # type: ignore[arg-type]
    moved = settled(model, take(model, before, shift), 900.0)
    still = settled(model, before, 900.0)
    change = (temperatures(model, moved) - temperatures(model, still))[:, 2].mean(axis=0)
    names = [zone.label for zone in model.zones]
    near = [n for n, name in enumerate(names) if name.startswith(f"inner: {nearer}")]
    far = [n for n, name in enumerate(names) if name.startswith(f"inner: {farther}")]
    assert change[near].mean() > change[far].mean() + 0.3
    at = columns(model).panel(0)
    assert np.ptp(moved.xi[:, at.start]) > np.ptp(still.xi[:, at.start])


def test_sources_are_mixed_to_one(model: FollowModel) -> None:
    """All power goes somewhere; at a step's length the computed source alone remains."""
    following = begin(model, rng())
    assert source_mix(model, following.xi, following.shift).sum(axis=1) == pytest.approx(1.0)
    plain = replace(
        model, prior=replace(model.prior, other_fat_mid=replace(model.prior.other_fat_mid, value=0.0))
    )
    shift = np.zeros((2, 3))
    shift[1, 0] = 0.003
    mix = source_mix(plain, np.zeros((1, columns(model).count)), shift)[0]
    assert mix[1 + 6] == pytest.approx(1.0)
    assert np.count_nonzero(mix) == 1


def test_members_outnumber_what_is_uncertain(model: FollowModel) -> None:
    assert begin(model, rng()).members == 128
    with pytest.raises(ValueError, match="allowed: more than"):
        begin(model, rng(), 60)
