"""Search: placement, power and minutes that heat fat most evenly in the band, skin's chance bounded.

For each placement tried, the same members (errors of hands, body and tissue as in the spread) go through the
visit at a few powers, far apart first and then near the one that the bound allows. The greatest power at
which the hottest skin of the wanted share of members stays below the clinic's limit is found between them;
what counts up to it is the mean, over members and fat zones, of the minutes a zone's mean is in the band.
Fat that is heated unevenly leaves part of its zones out of the band, so the same number asks for evenness.
Placements are improved step by step in whole millimetres and degrees.

The answer is advice to be checked against the device's manual; nothing here limits or drives a device.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from math import floor, radians

import numpy as np
from numpy.typing import NDArray

from evenfield.body import InputError
from evenfield.case import Case, file_values
from evenfield.dose import minutes_in_band
from evenfield.forecast.accuracy import chosen_layout
from evenfield.heat.power import PowerCurve
from evenfield.tolerance.advised import COURSES, Moves, Option, PlacementAdvice, PowerCourse, Wish
from evenfield.tolerance.check import compare
from evenfield.tolerance.emulator import Emulator, Progress, time_steps
from evenfield.tolerance.emulator_build import build_emulator
from evenfield.tolerance.ensemble import quantiles
from evenfield.tolerance.moves import may_be_placed, moved_case, moves_key, shifted, steps_from, together
from evenfield.tolerance.parallel import Runner
from evenfield.tolerance.projection import unflat
from evenfield.tolerance.spread import Spread, spread_of

Floats = NDArray[np.float64]

DESIGN, TRAINING, MEMBERS, FRESH, CHECKS = 128, 10, 40, 256, 6
STEP_S = 30.0
LEVELS = (0.1, 0.2, 0.4, 0.8, 1.6)
"""Powers tried first, as a share of the plan's highest."""
NEAR = (0.7, 0.85, 1.0)
"""Powers tried next, as a share of the greatest one that the first ones allow."""
ROUNDS = 6
LEAST_GAIN_MIN, WORTH_MIN = 0.02, 0.2
"""Minutes in the band that a step must bring for the search to go on with it, and that each move beside all
others, and all together, must bring on new members to be told (label A)."""
_POWER_KEYS = ("session.power_w", "session.absorbed_w", "session.steps")
LEAST_MIN = 10.0
"""No shorter visit is searched for (label A)."""


@dataclass(frozen=True)
class _Trial:
    """What a placement is tried with."""

    emulator: Emulator
    scores: Floats
    wish: Wish
    time_s: Floats
    keep: float


@dataclass(frozen=True)
class _Found:
    """Best of one placement and course: score in minutes, hold power (share of the plan's highest)."""

    score: float
    level: float


def _try(trial: _Trial, task: tuple[tuple[tuple[tuple[str, str], int], ...], PowerCourse]) -> _Found:
    """The best power for a placement and a course."""
    moves, course = dict(task[0]), task[1]
    e, wish = trial.emulator, trial.wish
    scores = shifted(e, trial.scores, moves)
    arrays = unflat(e.fit.at(scores[:, e.spread.of_field]), e.like)
    dt, begin, kept = time_steps((), trial.time_s, STEP_S)
    unit = e.fraction(scores)[:, None] * course.factors(begin) * _highest(e.case)
    fat = [n for n, z in enumerate(e.zones) if z.tissue == "fat"]

    def tried(level: float) -> tuple[float, float, float]:
        """The power, the wanted quantile of the hottest skin, and the mean minutes in the band."""
        visit = e.integrate(arrays, scores, level * unit, dt, kept, trial.time_s)
        zones = np.moveaxis(visit.zone_mean_c[:, :, fat], 1, 0)
        return (
            level,
            float(np.quantile(visit.hottest_c[:, :, 0].max(axis=1), 1.0 - trial.keep)),
            float(minutes_in_band(trial.time_s / 60.0, zones, *e.case.session.band_c).mean()),
        )

    # no power higher than the shapes were learned for
    known = [tried(level / max(1.0, course.start)) for level in LEVELS]
    if known[0][1] > wish.skin_limit_c:
        return _Found(wish.skin_limit_c - known[0][1], known[0][0])
    most = _allowed(known, wish.skin_limit_c)
    known = sorted([*known, *(tried(share * most) for share in NEAR if share * most > known[0][0])])
    fine = np.linspace(known[0][0], _allowed(known, wish.skin_limit_c), 121)
    levels, _, minutes = np.array(known).T
    score = np.interp(fine, levels, minutes)
    best = int(np.argmax(score))
    return _Found(float(score[best]), float(fine[best]))


def _allowed(known: list[tuple[float, float, float]], limit_c: float) -> float:
    """The greatest power up to which the skin stays at or below the limit, along straight lines between the
    powers known, the lowest of which keeps it."""
    for (low, cool, _), (high, hot, _) in pairwise(known):
        if hot > limit_c:
            return low + (high - low) * (limit_c - cool) / (hot - cool)
    return known[-1][0]


def _highest(case: Case) -> float:
    return max(case.session.power.watts)


def search(
    case: Case,
    wish: Wish,
    work: Runner,
    *,
    spread: Spread | None = None,
    seed: int = 0,
    design: int = DESIGN,
    members: int = MEMBERS,
    fresh: int = FRESH,
    checks: int = CHECKS,
    progress: Progress = lambda step, share: None,
) -> PlacementAdvice:
    """Search and judge. `progress` may raise to cancel. Raises ValueError where nothing can be searched (of
    the case: InputError)."""
    longest = _longest_min(case, wish)
    unknown = spread_of(case) if spread is None else spread
    layout = chosen_layout(case.region, case.placed).coarser()
    reach = {
        f"{way}.{p.name}": 1e-3 * wish.gap_mm if way == "gap" else radians(wish.tilt_deg)
        for p in case.panels
        for way in ("gap", "tilt_across", "tilt_along")
    }
    made = build_emulator(
        case, unknown, work, seed=seed, design=design, training=TRAINING, reach=reach, layout=layout,
        progress=progress,
    )  # fmt: skip
    seeds = np.random.SeedSequence(seed).spawn(5)
    scores = unknown.scores(members, seeds[3])
    trial = _Trial(made, scores, wish, _each_minute(longest), wish.chance)
    moves, tried = _place(trial, work, progress)
    judge = _Judge(made, unknown.scores(fresh, seeds[4]), wish)
    moves, options = _options(trial, judge, moves, longest, work, progress)
    error = None
    if checks:
        progress("check", 0.0)
        rows = shifted(made, judge.scores[:: max(1, fresh // checks)][:checks], moves)
        time_s = 60.0 * np.arange(0.0, options[1].minutes + 0.5)
        error = compare(made, layout, rows, options[1].curve, time_s, work)
    progress("done", 1.0)
    return PlacementAdvice(wish, unknown, tuple(options), error, tried)


def _longest_min(case: Case, wish: Wish) -> float:
    """How long the visit may be, min. Raises ValueError where nothing can be searched."""
    if _highest(case) <= 0.0:
        key = next(k for k in file_values(case) if k in _POWER_KEYS)
        raise InputError(
            f"{key}: no power above 0 W; a search needs one to start from", key=key, allowed="above 0"
        )
    longest = wish.minutes or case.session.power.end_s / 60.0
    if longest < LEAST_MIN:
        raise InputError(
            f"session.minutes = {longest:g}: a search needs a visit of at least {LEAST_MIN:g} min",
            key="session.minutes",
            value=longest,
            allowed=f"at least {LEAST_MIN:g}",
        )
    if not 0.0 < wish.chance < 1.0:
        raise ValueError(f"chance is {wish.chance:g}: allowed is between 0 and 1")
    return longest


def _each_minute(minutes: float) -> Floats:
    """Every whole minute of a visit from 0 on, in s."""
    return 60.0 * np.arange(0.0, floor(minutes) + 0.5)


def _options(
    trial: _Trial, judge: _Judge, moves: Moves, longest: float, work: Runner, progress: Progress
) -> tuple[Moves, list[Option]]:
    """The plan, the best found, staying as placed where that is another answer, then tighter, looser and
    shorter; and the moves of the best, without those that bring too little."""
    chance = trial.wish.chance
    answer = partial(_answer, trial, judge, work)
    progress("courses", 0.0)
    best = answer("best", "best within the bound", moves, chance, longest)
    stay = []
    if moves:
        progress("courses", 0.2)
        words = "placed as planned, power and course changed"
        stay = [answer("stay", words, {}, chance, longest)]
        if stay[0].chance <= chance and best.score < stay[0].score + WORTH_MIN:
            best, moves, stay = replace(stay[0], kind="best", words="best within the bound"), {}, []
    for move in sorted(moves, key=lambda m: (abs(moves[m]), m)):  # the smallest go first
        progress("courses", 0.3)
        fewer = {key: value for key, value in moves.items() if key != move}
        without = answer("best", "best within the bound", fewer, chance, longest)
        if fewer and without.chance <= chance and without.score > best.score - WORTH_MIN:
            best, moves = without, fewer
    options = [_as_planned(judge), best, *stay]
    for n, (kind, words, keep, minutes) in enumerate(
        (
            ("tighter", "a fifth of the bound", 0.2 * chance, longest),
            ("looser", "twice the bound, to see what it costs", min(0.5, 2.0 * chance), longest),
            ("shorter", "ten minutes shorter", chance, longest - 10.0),
        )
    ):
        progress("courses", 0.4 + 0.2 * n)
        if minutes >= LEAST_MIN:
            options.append(answer(kind, words, moves, keep, minutes))
    return moves, options


def _answer(
    trial: _Trial,
    judge: _Judge,
    work: Runner,
    kind: str,
    words: str,
    placed: Moves,
    keep: float,
    minutes: float,
) -> Option:
    """The best course of power for a placement that keeps a chance in so many minutes, judged."""
    own = replace(trial, keep=keep, time_s=_each_minute(minutes))
    found = list(work.map(partial(_try, own), [(moves_key(placed), course) for course in COURSES]))
    best = max(range(len(found)), key=lambda i: found[i].score)
    hold = floor(found[best].level * _highest(trial.emulator.case))
    return judge.within(kind, words, placed, COURSES[best], hold, float(floor(minutes)), keep)


def _place(trial: _Trial, work: Runner, progress: Progress) -> tuple[Moves, int]:
    """Improve the placement in whole steps: every single step each round, and all helpful ones at once."""
    case, wish = trial.emulator.case, trial.wish
    course = COURSES[1]
    known: dict[tuple[tuple[tuple[str, str], int], ...], _Found] = {}

    def judge(candidates: list[Moves]) -> None:
        new = [k for k in dict.fromkeys(moves_key(m) for m in candidates) if k not in known]
        known.update(zip(new, work.map(partial(_try, trial), [(k, course) for k in new]), strict=True))

    now: Moves = {}
    judge([now])
    for turn in range(ROUNDS):
        progress("placements", turn / ROUNDS)
        around = [m for m in steps_from(now, case, wish) if may_be_placed(case, m, wish)]
        judge(around)
        here = known[moves_key(now)].score
        gains = sorted(
            ((known[moves_key(m)].score - here, n) for n, m in enumerate(around)), key=lambda g: (-g[0], g[1])
        )
        good = [around[n] for gain, n in gains if gain > LEAST_GAIN_MIN]
        if not good:
            break
        at_once = together(now, good)
        choices = [good[0]]
        if may_be_placed(case, at_once, wish):
            judge([at_once])
            choices.append(at_once)
        now = max(choices, key=lambda m: known[moves_key(m)].score)
    return {k: v for k, v in now.items() if v}, len(known)


@dataclass(frozen=True)
class _Judge:
    """Members that the search has not seen."""

    emulator: Emulator
    scores: Floats
    wish: Wish

    def within(
        self,
        kind: str,
        words: str,
        moves: Moves,
        course: PowerCourse,
        hold_w: int,
        minutes: float,
        chance: float,
    ) -> Option:
        """The option at the greatest whole power that keeps the chance on these members, watt by watt from
        `hold_w`: down to the least power tried, or up as long as it brings minutes in the band."""

        def at(watts: int) -> Option:
            return self.option(kind, words, moves, course.words, course.curve(float(watts), minutes))

        highest = _highest(self.emulator.case)
        lowest, most = (
            max(1, floor(LEVELS[0] * highest)),
            floor(LEVELS[-1] * highest / max(1.0, course.start)),
        )
        watts = max(hold_w, lowest)
        found = at(watts)
        if found.chance > chance:
            for lower in range(watts - 1, lowest - 1, -1):
                found = at(lower)
                if found.chance <= chance:
                    return found
            return replace(found, words=f"{words}: not kept even at the least power tried")
        for higher in range(watts + 1, most + 1):
            more = at(higher)
            if more.chance > chance or more.score <= found.score:
                break
            found = more
        return found

    def option(self, kind: str, words: str, moves: Moves, course: str, curve: PowerCurve) -> Option:
        e = self.emulator
        time_s = _each_minute(curve.end_s / 60.0)
        visit = e.run(shifted(e, self.scores, moves), curve, time_s, step_s=STEP_S)
        fat = [n for n, z in enumerate(e.zones) if z.tissue == "fat"]
        zones = visit.zone_mean_c[:, :, fat]
        in_band = minutes_in_band(time_s / 60.0, np.moveaxis(zones, 1, 0), *e.case.session.band_c)
        skin = visit.hottest_c[:, :, 0].max(axis=1)
        return Option(
            kind=kind,
            words=words,
            case=moved_case(e.case, moves),
            moves=moves,
            course=course,
            curve=curve,
            chance=float(np.mean(skin > self.wish.skin_limit_c)),
            score=float(in_band.mean()),
            minutes_in_band=quantiles(in_band.mean(axis=1)),
            apart_k=quantiles(zones[:, -1].max(axis=1) - zones[:, -1].min(axis=1)),
            skin_c=quantiles(skin),
            fat_c=quantiles(visit.hottest_c[:, :, 1].max(axis=1)),
            mean_fat_c=quantiles(zones[:, -1].mean(axis=1)),
        )


def _as_planned(judge: _Judge) -> Option:
    """The plan as it is, with its own power in time."""
    return judge.option("plan", "as planned", {}, "as planned", judge.emulator.case.session.power)
