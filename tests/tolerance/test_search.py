"""The search keeps its bound on members it has not seen, and never leaves what it was allowed."""

import json
from dataclasses import replace
from math import radians

import numpy as np
import pytest

from evenfield.case import Case
from evenfield.cli.advise import json_text, print_advice
from evenfield.heat.power import PowerCurve
from evenfield.tolerance.advice_words import power_rests_on, power_words, told, trades
from evenfield.tolerance.advised import COURSES, Option, PlacementAdvice, PowerCourse, Wish
from evenfield.tolerance.parallel import Runner
from evenfield.tolerance.search import WORTH_MIN, search
from evenfield.tolerance.spread import spread_of

WISH = Wish(skin_limit_c=40.5, chance=0.10, gap_mm=1, tilt_deg=1)


def test_courses_of_power_by_hand() -> None:
    times = np.array([0.0, 299.0, 300.0, 600.0, 1200.0])
    assert COURSES[0].factors(times) == pytest.approx([0.6, 0.6, 0.8, 1.0, 1.0])
    assert COURSES[2].factors(times) == pytest.approx(np.ones(5))
    assert PowerCourse(1.25, 1, "").factors(times) == pytest.approx([1.25, 1.25, 1.0, 1.0, 1.0])
    # what a hand can set: whole watts, no step where nothing changes, none after the end
    assert PowerCourse(1.25, 1, "").curve(11.0, 30.0) == PowerCurve((0.0, 300.0), (13.0, 11.0), 1800.0)
    assert PowerCourse(0.6, 2, "").curve(2.0, 30.0) == PowerCurve((0.0, 600.0), (1.0, 2.0), 1800.0)
    assert PowerCourse(0.6, 2, "").curve(20.0, 10.0) == PowerCurve((0.0, 300.0), (12.0, 16.0), 600.0)


def test_power_in_words() -> None:
    assert power_words(PowerCurve.constant(28.0, 1800.0)) == "28 W; until 30 min"
    paused = PowerCurve((0.0, 600.0, 1200.0), (50.0, 0.0, 70.5), 2100.0)
    assert power_words(paused) == "50 W, from 10 min pause, from 20 min 70.5 W; until 35 min"


@pytest.fixture(scope="module")
def tilted(limb: Case) -> Case:
    """Placed with one panel 5° off parallel along the arm: there is something to gain."""
    return limb.with_panel("inner", tilt_along_rad=radians(5))


@pytest.fixture(scope="module")
def advice(tilted: Case, here: Runner) -> PlacementAdvice:
    known = ("dielectric", "girth", "fat_thickness", "fat_kind", "core")
    spread = spread_of(tilted).without(*known)
    return search(tilted, WISH, here, spread=spread, design=24, members=8, fresh=48, checks=2)


def named(advice: PlacementAdvice, start: str) -> Option:
    return next(o for o in advice.options if o.words.startswith(start))


@pytest.mark.slow
def test_bound_holds_and_moves_stay_within_reach(advice: PlacementAdvice) -> None:
    best = named(advice, "best")
    assert best.chance <= WISH.chance
    assert named(advice, "a fifth").chance <= best.chance
    assert named(advice, "twice").hold_w >= best.hold_w
    for option in advice.options:
        assert all(abs(v) <= 1 for v in option.moves.values())
        assert all(p.gap_m >= 1e-3 * WISH.least_gap_mm for p in option.case.panels)
    assert named(advice, "ten minutes").minutes == best.minutes - 10
    assert advice.error is not None
    assert advice.error.hottest_skin_k[0] < 0.5


@pytest.mark.slow
def test_a_bound_that_no_power_keeps_is_said(tilted: Case, advice: PlacementAdvice, here: Runner) -> None:
    """Every answer that was searched for keeps its bound or says that it does not."""
    colder = replace(WISH, skin_limit_c=34.5)
    spread = spread_of(tilted).without("dielectric", "girth", "fat_thickness", "fat_kind", "core")
    hopeless = search(tilted, colder, here, spread=spread, design=24, members=8, fresh=16, checks=0)
    assert all("not kept" in o.words for o in hopeless.options[1:])
    for option in advice.options[1:]:
        share = {"a fif": 0.2, "twice": 2.0}.get(option.words[:5], 1.0)
        assert ("not kept" in option.words) == (option.chance > share * WISH.chance)


@pytest.mark.slow
def test_a_bound_far_below_the_plans_power_is_met(limb: Case, here: Runner) -> None:
    """A plan at several times the power that its skin limit allows still gets an answer, and the plan is
    judged with its own power in time."""
    steps = PowerCurve((0.0, 300.0), (40.0, 60.0), 1200.0)
    case = replace(limb, session=replace(limb.session, power=steps))
    spread = spread_of(case).without("dielectric", "girth", "fat_thickness", "fat_kind", "core")
    wish = Wish(skin_limit_c=38.5, chance=0.10, gap_mm=0, tilt_deg=0)
    found = search(case, wish, here, spread=spread, design=24, members=8, fresh=48, checks=0)
    plan, best, *others = found.options
    assert (plan.curve, plan.chance) == (steps, 1.0)
    assert best.chance <= wish.chance
    assert best.hold_w < 0.4 * 60.0
    assert [o.kind for o in others] == ["tighter", "looser", "shorter"]
    assert others[0].chance <= 0.2 * wish.chance
    assert others[0].hold_w <= best.hold_w <= others[1].hold_w
    assert not any("not kept" in o.words for o in found.options)
    assert "instead of 100 %" in trades(found)[0]
    assert "No move" in trades(found)[1]  # none was allowed
    assert "assumed until the device" in power_rests_on(found)


@pytest.mark.slow
def test_it_turns_the_tilted_panel_back(advice: PlacementAdvice) -> None:
    """Common practice, no source: as parallel as possible."""
    best = named(advice, "best")
    assert best.moves.get(("inner", "tilt_along")) == -1
    assert "inner: " in told(best)
    stay = named(advice, "placed as planned")
    assert best.score >= stay.score + WORTH_MIN
    assert trades(advice)[1].startswith("Moving the panels brings ")


@pytest.mark.slow
def test_advice_says_what_it_is(advice: PlacementAdvice) -> None:
    document = json.loads(json_text(advice))
    assert "device's manual" in document["caution"]
    assert len(document["options"]) == len(advice.options)
    assert document["options"][1]["power_w"]
    assert document["fat_kind"] == "average_infiltrated"
    assert document["absorbed_fraction"] == {"low": 0.35, "mid": 0.55, "high": 0.75, "assumed": True}
    assert document["case"]["region.fat"] == "average_infiltrated"
    assert any(line.startswith("session.absorbed_fraction") for line in document["assumptions"])


def test_bad_wishes_are_refused(limb: Case, here: Runner) -> None:
    with pytest.raises(ValueError, match="chance is 1"):
        search(limb, replace(WISH, chance=1.0), here)


@pytest.mark.slow
def test_the_advice_says_whose_limits_it_kept(
    advice: PlacementAdvice, capsys: pytest.CaptureFixture[str]
) -> None:
    print_advice(advice)
    told = " ".join(capsys.readouterr().out.split())
    assert "skin above 40.5 °C in at most 10 % of the bodies" in told
    assert "Fat: average infiltrated." in told
    assert "Limit and chance are the clinic's to set: --skin-limit, --chance." in told


@pytest.mark.slow
def test_each_move_told_brings_something(tilted: Case, monkeypatch: pytest.MonkeyPatch, here: Runner) -> None:
    """Only turning the tilted panel back is worth telling; when nothing need be worth anything, more is."""
    spread = spread_of(tilted).without("dielectric", "girth", "fat_thickness", "fat_kind", "core")

    def moves() -> set[tuple[str, str]]:
        found = search(tilted, WISH, here, spread=spread, design=24, members=8, fresh=48, checks=0)
        return set(found.options[1].moves)

    told = moves()
    monkeypatch.setattr("evenfield.tolerance.search.WORTH_MIN", -100.0)
    every = moves()
    assert told == {("inner", "tilt_along")}
    assert told < every
