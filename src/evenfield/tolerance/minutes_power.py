"""Minutes against power: how hot skin and fat get at each constant power, and when, with the spread."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from evenfield.heat.power import PowerCurve
from evenfield.tolerance.emulator import Emulator, Progress
from evenfield.tolerance.ensemble import CHUNK, Ensemble, quantiles
from evenfield.tolerance.parallel import Runner

Floats = NDArray[np.float64]

MEMBERS, LEVELS = 128, 8
LOWEST, HIGHEST = 0.2, 1.6
"""Powers shown, as a share of the case's highest."""
LONGEST_MIN = 45.0
LEAST_RISE_K = 0.5
"""A smaller rise says nothing of how a grid errs."""


@dataclass(frozen=True)
class MinutesPower:
    """`power_w` (n,) constant power of the case's kind; `minutes` (nt,); `skin_c`, `fat_c` (3, n, nt): 5, 50
    and 95 % of the hottest skin and of the mean of fat when the power has been on so long."""

    power_w: Floats
    set_power: bool
    minutes: Floats
    skin_c: Floats
    fat_c: Floats
    band_c: tuple[float, float]
    skin_limit_c: float
    planned: tuple[float, float]


def _level(emulator: Emulator, time_s: Floats, task: tuple[float, Floats]) -> tuple[Floats, Floats]:
    """Hottest skin and mean of fat of some members at one power, both (members, nt)."""
    watts, scores = task
    visit = emulator.run(scores, PowerCurve.constant(watts, float(time_s[-1]) + 1.0), time_s)
    fat = [n for n, z in enumerate(emulator.zones) if z.tissue == "fat"]
    return visit.hottest_c[:, :, 0], visit.zone_mean_c[:, :, fat].mean(axis=2)


def _hottest_skin(e: Ensemble) -> tuple[Floats, Floats]:
    return e.nominal.hottest_c[0, [0, e.power_end], 0], e.unmoved.hottest_c[0, [0, e.power_end], 0]


def _mean_fat(e: Ensemble) -> tuple[Floats, Floats]:
    fat = e.of_tissue("fat")
    at = [0, e.power_end]
    return e.nominal.zone_mean_c[0, at][:, fat].mean(axis=1), e.unmoved.zone_mean_c[0, at][:, fat].mean(
        axis=1
    )


def _moved(parts: list[Floats], to: Floats, of: Floats) -> list[Floats]:
    """Temperatures (members, nt) of which `of` (2,) at the start and the end is to become `to`."""
    rise = of[1] - of[0]
    ratio = (to[1] - to[0]) / rise if rise > LEAST_RISE_K else 1.0
    return [part[:, :1] + (to[0] - of[0]) + ratio * (part - part[:, :1]) for part in parts]


def minutes_power(
    e: Ensemble,
    work: Runner,
    *,
    skin_limit_c: float,
    members: int = MEMBERS,
    levels: int = LEVELS,
    progress: Progress = lambda step, share: None,
) -> MinutesPower:
    """The map of an ensemble's case, by its first `members` members, moved to the forecast as they are:
    rises by its ratio to the nominal member's at the end of the plan's power, which holds for other powers
    as far as the error of a grid grows with the rise."""
    case = e.case
    power = case.session.power
    highest = max(power.watts) or 1.0
    watts = highest * np.linspace(LOWEST, HIGHEST, levels)
    time_s = 60.0 * np.arange(0.0, max(LONGEST_MIN, power.end_s / 60.0) + 0.5)
    scores = e.scores[:members]
    chunks = [scores[n : n + CHUNK] for n in range(0, len(scores), CHUNK)]
    tasks = [(float(w), chunk) for w in watts for chunk in chunks]
    skin, fat = [], []
    for n, (one, other) in enumerate(work.map(partial(_level, e.emulator, time_s), tasks)):
        progress("power levels", (n + 1) / len(tasks))
        skin.append(one)
        fat.append(other)

    def by_level(parts: list[Floats]) -> Floats:
        each = [np.concatenate(parts[n : n + len(chunks)]) for n in range(0, len(parts), len(chunks))]
        return np.stack([quantiles(one) for one in each], axis=1)

    return MinutesPower(
        power_w=watts,
        set_power=case.session.power_kind == "set",
        minutes=time_s / 60.0,
        skin_c=by_level(_moved(skin, *_hottest_skin(e))),
        fat_c=by_level(_moved(fat, *_mean_fat(e))),
        band_c=case.session.band_c,
        skin_limit_c=skin_limit_c,
        planned=(highest, power.end_s / 60.0),
    )
