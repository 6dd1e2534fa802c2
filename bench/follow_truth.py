"""Simulated people for judging the live estimate: full order, on a grid twice as fine as the estimate's, and
different from what the plan believes in every way that was named beforehand.

A **plan** is one of the examples with another girth and fat. A **truth** is one person under one plan: fat
thickness off by the error of measuring, panels off in gap and tilt, blood flow by another law and of another
strength, in half of them the other published fat, another skin exchange, arterial temperature and absorbed
share; heated by an operator who starts, changes power, pauses, moves a panel (never quite as recorded) and
lowers the power when the skin gets hot. Its temperatures do not depend on the thermometer: several
**readers**, each with an offset, scatter and gaps of their own, watch the same truth.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator import PlacementError, check_placement
from evenfield.case import Case, read_case
from evenfield.field import Field, solve_field
from evenfield.follow import (
    ComfortSaid,
    FieldOff,
    FieldOn,
    HotSpotSaid,
    Input,
    PanelShift,
    PowerNow,
    SkinRead,
    TuningNow,
)
from evenfield.follow.inputs import PARTS
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import Setting, bioheat_of, setting_of
from evenfield.forecast.zones import Zones, make_zones
from evenfield.grid.fit import fit
from evenfield.grid.layout import Layout
from evenfield.heat.bioheat import Bioheat
from evenfield.heat.stepping import Step, between, steady, steps
from evenfield.tissue import FatKind

Floats = NDArray[np.float64]
ROOT = Path(__file__).parents[1]
EXAMPLES = ("upper_arm", "thigh", "abdomen")
TISSUES = ("constant_flow", str(ROOT / "bench" / "follow_tissues" / "doubling.toml"))
END_S, LOOK_S = 2100.0, 300.0
"""End of what is followed (power ends five minutes earlier); the operator asks and reads this often."""
SPOTS = 8
"""Places of a zone where a thermometer may be held."""
HOT_SKIN_C = 42.5


@dataclass(frozen=True)
class Truth:
    """One simulated visit. `inputs`: all that is recorded but skin readings. `looks_s` (nt,); `zones_c` (nt,
    4, n): skin mean, skin hottest, fat mean, fat hottest; `spots_c` (nt, n, SPOTS): skin at the spots.
    `differs`: in words."""

    inputs: tuple[Input, ...]
    looks_s: Floats
    zones_c: Floats
    spots_c: Floats
    differs: str


def plan(number: int) -> Case:
    """The plan of a number: the examples in turn, with another girth and fat each time."""
    rng = np.random.default_rng([17, number])
    case = read_case(ROOT / "examples" / f"{EXAMPLES[number % 3]}.toml")
    if number < len(EXAMPLES):
        return case
    wider, fatter = rng.uniform(0.95, 1.08), rng.uniform(0.8, 1.25)
    body = case.measurements
    return replace(
        case,
        measurements=replace(
            body,
            girth_m=tuple(wider * g for g in body.girth_m),
            fat_m=tuple((fatter * a, fatter * b, fatter * c, fatter * d) for a, b, c, d in body.fat_m),
        ),
    )


def _person(case: Case, rng: np.random.Generator) -> tuple[Case, dict[str, float], float, str]:
    """The true case, factors on blood flow, factor on skin exchange, and what differs in words."""
    body = case.measurements
    error = 1e-3 * rng.normal(size=4)
    body = replace(
        body,
        fat_m=tuple(
            (
                max(a + error[0], 4e-3),
                max(b + error[1], 4e-3),
                max(c + error[2], 4e-3),
                max(d + error[3], 4e-3),
            )
            for a, b, c, d in body.fat_m
        ),
    )
    other = next(kind for kind in FatKind if kind is not case.fat_kind)
    kind = other if rng.random() < 0.5 else case.fat_kind
    tissues = TISSUES[int(rng.integers(len(TISSUES)))]
    session = replace(case.session, baseline_c=case.session.baseline_c + 0.25 * rng.normal())
    true = replace(case, measurements=body, fat_kind=kind, tissue_set=tissues, session=session)
    while True:
        panels = tuple(
            replace(
                panel,
                gap_m=max(panel.gap_m + rng.uniform(-3e-3, 3e-3), 5e-3),
                tilt_across_rad=panel.tilt_across_rad + np.radians(rng.uniform(-3.5, 3.5)),
                tilt_along_rad=panel.tilt_along_rad + np.radians(rng.uniform(-3.5, 3.5)),
            )
            for panel in case.panels
        )
        placed = replace(true, panels=panels)
        try:
            check_placement(placed.region, placed.placed)
            break
        except PlacementError:
            continue
    flow = {name: float(np.exp(0.35 * rng.normal())) for name in ("fat", "muscle", "skin")}
    exchange = float(np.exp(0.2 * rng.normal()))
    words = f"{Path(tissues).stem}, {kind.value}, exchange {exchange:.2f}, " + ", ".join(
        f"{name} flow {value:.2f}" for name, value in flow.items()
    )
    return placed, flow, exchange, words


@dataclass(frozen=True)
class _Scene:
    """The true body on its grid."""

    case: Case
    setting: Setting
    layout: Layout
    model: Bioheat
    zones: Zones
    spots: NDArray[np.int64]

    def zones_c(self, temperature_c: Floats) -> tuple[Floats, Floats]:
        """(4, n) and (n, SPOTS)."""
        flat = temperature_c.ravel()
        mean = self.zones.mean @ flat
        top = np.array([flat[inside].max() for inside in self.zones.inside])
        return np.stack([mean[::2], top[::2], mean[1::2], top[1::2]]), flat[self.spots]


def _solved(case: Case, setting: Setting, layout: Layout) -> Field:
    grid = fit(layout, case.region, case.placed)
    return solve_field(grid, setting.materials, [p.drive for p in case.panels], residual=1e-6)


def _scene(
    case: Case, flow: dict[str, float], exchange: float, coarse: bool, rng: np.random.Generator
) -> _Scene:
    setting = setting_of(case)
    layout = chosen_layout(case.region, case.placed)
    layout = layout.coarser() if coarse else layout
    field = _solved(case, setting, layout)
    model = bioheat_of(case, setting, field).varied(flow, exchange)
    zones = make_zones(field.grid, case.placed, case.measurements.kind.trunk)
    last = model.capacity.shape[2] - 1
    spots = []
    for inside in zones.inside[::2]:
        on = inside[inside % (last + 1) == last]
        area = model.area.ravel()[on // (last + 1)]
        spots.append(rng.choice(on, SPOTS, p=area / area.sum()))
    return _Scene(case, setting, layout, model, zones, np.array(spots))


def _moved(scene: _Scene, shift: PanelShift, rng: np.random.Generator) -> _Scene:
    """The panel truly moved, give or take 30 %."""
    panel = next(p for p in scene.case.panels if p.name == shift.panel)
    by = shift.by_m * float(np.clip(1.0 + 0.3 * rng.normal(), 0.2, 1.8))
    sign = -1.0 if shift.part.startswith("falling") else 1.0
    gap, across, along = panel.gap_m, panel.tilt_across_rad, panel.tilt_along_rad
    if shift.part == "whole":
        gap += by
    elif shift.part.endswith("angle"):
        gap, across = gap + 0.5 * by, across + sign * by / panel.width_m
    else:
        gap, along = gap + 0.5 * by, along + sign * by / panel.length_m
    case = scene.case.with_panel(panel.name, gap_m=gap, tilt_across_rad=across, tilt_along_rad=along)
    try:
        check_placement(case.region, case.placed)
    except PlacementError:
        return scene
    heating = _solved(case, scene.setting, scene.layout).heating
    return replace(scene, case=case, model=scene.model.with_source(heating))


def make_truth(case: Case, seed: int, *, coarse: bool = False) -> Truth:
    """One person under a plan, followed for `END_S`. `coarse`: on the estimate's own grid (quick)."""
    rng = np.random.default_rng([seed, 5])
    true, flow, exchange, words = _person(case, rng)
    share = float(rng.uniform(case.session.absorbed_fraction.low, case.session.absorbed_fraction.high))
    scene = _scene(true, flow, exchange, coarse, rng)
    plan_w = float(np.mean([w for w in case.session.power.watts if w > 0]))
    watts = float(rng.choice([0.8, 0.9, 1.0, 1.1])) * plan_w
    tuning = float(rng.integers(78, 98))
    inputs: list[Input] = [PowerNow(0.0, watts), TuningNow(0.0, tuning), FieldOn(0.0)]
    pause_s = float(rng.choice([840.0, 1020.0, np.inf]))
    move_s = float(rng.choice([600.0, 900.0, np.inf]))
    end_s = END_S - 300.0
    marks = {*np.arange(0.0, END_S + 1.0, LOOK_S)} | {
        t for t in (pause_s, pause_s + 150.0, move_s, end_s) if t < END_S
    }
    u, on = steady(scene.model), True
    looks, zones_c, spots_c = [0.0], [scene.zones_c(u)[0]], [scene.zones_c(u)[1]]
    for begin, end in itertools.pairwise(sorted(float(mark) for mark in marks)):
        if begin in (pause_s, end_s):
            on = False
            inputs.append(FieldOff(begin))
        if begin == pause_s + 150.0:
            on = True
            inputs.append(FieldOn(begin))
        if begin == move_s:
            shift = PanelShift(
                begin,
                str(rng.choice([p.name for p in case.panels])),
                float(rng.choice([2e-3, 3e-3, 5e-3])),
                PARTS[int(rng.integers(len(PARTS)))],  # type: ignore[arg-type]
            )
            scene = _moved(scene, shift, rng)
            tuning = float(np.clip(tuning + rng.integers(-6, 5), 70, 98))
            inputs += [shift, TuningNow(begin, tuning)]
        if begin > 0 and begin % LOOK_S == 0 and on:
            changed = watts * (0.7 if zones_c[-1][1].max() > HOT_SKIN_C else 1.0)
            if begin in (300.0, 1500.0) and changed == watts:
                changed = watts * float(rng.choice([0.85, 1.0, 1.15]))
            if changed != watts:
                watts = changed
                inputs.append(PowerNow(begin, watts))
        if begin % LOOK_S == 0 and begin > 0:
            inputs += _said(begin, zones_c[-1], case, rng)
        power = share * tuning / 90.0 * watts if on else 0.0
        before: Step | None = None
        for step in steps(scene.model, u, power, begin, end, first_s=8.0):
            while before is not None and 60.0 * len(looks) <= step.time_s + 1e-6:
                now, at_spots = scene.zones_c(between(before, step, 60.0 * len(looks)))
                looks.append(60.0 * len(looks))
                zones_c.append(now)
                spots_c.append(at_spots)
            before = step
            u = step.temperature_c
    return Truth(
        tuple(inputs),
        np.array(looks),
        np.stack(zones_c),
        np.stack(spots_c),
        f"{words}, absorbs {share:.2f}",
    )


def _said(at_s: float, zones_c: Floats, case: Case, rng: np.random.Generator) -> list[Input]:
    """Comfort, and now and then a hot spot: told by the hottest skin, with a wide scatter."""
    hottest = zones_c[1]
    score = float(np.clip(np.round((46.0 - hottest.max()) / 0.6 + 1.5 * rng.normal()), 0, 10))
    said: list[Input] = [ComfortSaid(at_s, score)] if rng.random() < 0.8 else []
    at = int(np.argmax(hottest))
    if hottest[at] > 42.0 and hottest[at] - hottest.mean() > 1.0 and rng.random() < 0.5:
        said.append(HotSpotSaid(at_s, panel=case.panels[at // 9].name))
    return said


def readings(truth: Truth, labels: tuple[str, ...], seed: int) -> list[SkinRead]:
    """One reader's readings: every zone every five minutes, with an offset, scatter and gaps."""
    rng = np.random.default_rng([seed, 11])
    offset, scatter, missing = rng.uniform(-0.7, 0.7), 0.25, rng.uniform(0.0, 0.4)
    out = []
    for n, at_s in enumerate(truth.looks_s):
        if at_s % LOOK_S or at_s >= END_S:
            continue
        for zone, label in enumerate(labels):
            skin = truth.spots_c[n, zone, int(rng.integers(SPOTS))]
            if rng.random() >= missing:
                out.append(
                    SkinRead(float(at_s), label, round(float(skin + offset + scatter * rng.normal()), 1))
                )
    return out
