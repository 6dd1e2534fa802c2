"""The reduced heat model against the full one: speed and error, in one run on one machine.

`python -m bench.reduced_heat [EXAMPLE ...]` prints a row for each example case. Full and reduced model follow
the same unseen power over 45 minutes: pauses, steps up and down, cooling.
"""

from __future__ import annotations

import itertools
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from evenfield.case import read_case
from evenfield.forecast.accuracy import solve_to_target
from evenfield.forecast.engine import bioheat_of, setting_of
from evenfield.forecast.zones import Zones, make_zones
from evenfield.heat.bioheat import Bioheat
from evenfield.heat.history import simulate
from evenfield.heat.power import PowerCurve
from evenfield.heat.reduced import ReducedHeat
from evenfield.heat.reduced_build import build_reduced
from evenfield.heat.stepping import steady

EXAMPLES = Path(__file__).parents[1] / "examples"
MINUTES = np.arange(0.0, 46.0)
POWER = PowerCurve((0.0, 480.0, 570.0, 1080.0, 1500.0, 1680.0), (0.9, 0.0, 1.25, 0.75, 0.0, 1.1), 2520.0)
"""As a share of what the example's panels give at their highest power."""
MEMBERS = 200
OTHER_FLOW, OTHER_EXCHANGE = {"fat": 1.6, "muscle": 0.65, "skin": 1.4}, 0.8
"""Parameters between those that the model was built from."""


@dataclass(frozen=True)
class Errors:
    """Largest differences from the full model over all minutes, K: at any node of skin and fat, of any zone's
    mean, of any zone's hottest point."""

    nodes: float
    means: float
    hottest: float

    def __str__(self) -> str:
        return f"{self.nodes:.3f} nodes, {self.means:.3f} zone means, {self.hottest:.3f} zone hottest (K)"


@dataclass(frozen=True)
class ReducedRow:
    """`full_s`, `reduced_s`, `ensemble_s`: seconds per simulated minute of the full model, of the reduced
    model with one member and with `MEMBERS`; `build_runs`: time to build, in full 45-minute runs."""

    example: str
    nodes: int
    shapes: int
    full_s: float
    reduced_s: float
    ensemble_s: float
    build_runs: float
    nominal: Errors
    other: Errors

    @property
    def ratio(self) -> float:
        return self.full_s / self.reduced_s

    def __str__(self) -> str:
        return (
            f"reduced heat, {self.example}: {self.nodes} nodes, {self.shapes} shapes; per simulated minute "
            f"full {1e3 * self.full_s:.1f} ms, reduced {1e3 * self.reduced_s:.3f} ms, "
            f"ratio {self.ratio:.0f}; "
            f"{MEMBERS} members {1e3 * self.ensemble_s:.1f} ms; built in {self.build_runs:.1f} full runs\n"
            f"    error at nominal parameters: {self.nominal}\n"
            f"    at flow {OTHER_FLOW}, exchange {OTHER_EXCHANGE}: {self.other}"
        )


def _errors(
    model: Bioheat, zones: Zones, reduced: ReducedHeat, curve: PowerCurve, *, other: bool
) -> tuple[Errors, float]:
    """Errors of the reduced model, and the full one's seconds per simulated minute."""
    parameters = reduced.parameters()
    if other:
        model = model.varied(OTHER_FLOW, OTHER_EXCHANGE)
        parameters = reduced.parameters(flow=OTHER_FLOW, exchange=OTHER_EXCHANGE)
    start = steady(model)
    clock = time.perf_counter()
    full = simulate(model, curve, 60.0 * MINUTES, baseline_c=start).temperature_c
    seconds = (time.perf_counter() - clock) / MINUTES[-1]
    fat = model.grid.cells_of("fat").start
    state = reduced.start(parameters)
    worst = np.zeros(3)
    wanted = 60.0 * MINUTES
    for begin, end in itertools.pairwise(sorted({*wanted, *(b for b in curve.breaks() if b < wanted[-1])})):
        state = reduced.advance(state, curve.at(begin), end - begin)
        if end not in wanted:
            continue
        truth = full[int(end // 60)]
        hottest = [truth.ravel()[nodes].max() for nodes in zones.inside]
        now = (
            reduced.field(state)[:, :, fat:] - truth[:, :, fat:],
            reduced.zone_means(state)[0] - zones.mean @ truth.ravel(),
            reduced.hottest(state)[0] - np.array(hottest),
        )
        worst = np.maximum(worst, [float(np.max(np.abs(d))) for d in now])
    return Errors(*(float(w) for w in worst)), float(seconds)


def _per_minute(reduced: ReducedHeat, members: int, watts: float) -> float:
    """Seconds per simulated minute, the middle of nine tries of five minutes."""
    state = reduced.start(reduced.parameters(members))
    tries = []
    for _ in range(9):
        clock = time.perf_counter()
        for _ in range(5):
            state = reduced.advance(state, watts, 60.0)
            reduced.zone_means(state)
            reduced.hottest(state)
        tries.append((time.perf_counter() - clock) / 5)
    return float(np.median(tries))


def row(example: str = "upper_arm") -> ReducedRow:
    """Build the reduced model of an example's placement and compare it with the full one."""
    case = read_case(EXAMPLES / f"{example}.toml")
    setting = setting_of(case)
    field, _, _ = solve_to_target(case.region, case.placed, setting.materials)
    model = bioheat_of(case, setting, field)
    zones = make_zones(field.grid, case.placed, case.measurements.kind.trunk)
    watts = max(case.session.absorbed()[1].watts)
    curve = POWER.scaled(watts)
    simulate(model, replace(curve, end_s=1690.0), np.array([0.0, 60.0]))  # compiles what is not yet compiled
    baseline = steady(model)
    clock = time.perf_counter()
    reduced = build_reduced(model, watts, zones.mean, zones.inside, baseline_c=baseline)
    build_s = time.perf_counter() - clock
    nominal, full_s = _errors(model, zones, reduced, curve, other=False)
    other, _ = _errors(model, zones, reduced, curve, other=True)
    return ReducedRow(
        example=example,
        nodes=model.capacity.size,
        shapes=reduced.rates.size,
        full_s=full_s,
        reduced_s=_per_minute(reduced, 1, watts),
        ensemble_s=_per_minute(reduced, MEMBERS, watts),
        build_runs=build_s / (full_s * MINUTES[-1]),
        nominal=nominal,
        other=other,
    )


if __name__ == "__main__":
    for name in sys.argv[1:] or ("upper_arm", "thigh", "abdomen"):
        print(row(name), flush=True)
