"""Preview against full answer: time, error and number of unknowns, in one run on one machine.

`python -m bench.preview [EXAMPLE ...]` builds the preview of each example (the upper arm if none is named)
and asks both for what-ifs drawn at random, which the building has not seen.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from evenfield.case import read_case
from evenfield.forecast.engine import setting_of
from evenfield.tolerance import WhatIfPreview, build_preview
from evenfield.tolerance.nearby import Nearby
from evenfield.tolerance.outcome import solve_outcome
from evenfield.tolerance.preview_build import errors

EXAMPLES = Path(__file__).parents[1] / "examples"
ASKED, SEED = 30, 3
NAMES = ("hottest skin, K", "hottest fat, K", "evenness", "tuning, points")


@dataclass(frozen=True)
class PreviewRow:
    """`unknowns` of the full answer's field; seconds (middle of all asked), and processor
    time of preview and full answer; `small` and `wide`: root mean
    square and largest error with one parameter moved and with all moved, (2, 4) each; `held`: share of errors
    within their bounds."""

    example: str
    unknowns: int
    build_s: float
    preview_s: float
    full_s: float
    processor_s: tuple[float, float]
    small: np.ndarray
    wide: np.ndarray
    held: float

    def __str__(self) -> str:
        lines = [
            f"preview, {self.example}: full answer {self.unknowns} unknowns in {self.full_s:.2f} s, "
            f"preview in {1e3 * self.preview_s:.0f} ms, ratio {self.full_s / self.preview_s:.0f} "
            f"(processor time {self.processor_s[1]:.2f} s and {1e3 * self.processor_s[0]:.0f} ms); built in "
            f"{self.build_s:.0f} s; {100 * self.held:.1f} % of {4 * ASKED} errors within their bounds",
        ]
        for what, found in (("one parameter moved", self.small), ("all moved", self.wide)):
            told = ", ".join(
                f"{name} {rms:.3f} ({most:.3f})" for name, rms, most in zip(NAMES, *found, strict=True)
            )
            lines.append(f"    {what}, rms (largest) error: {told}")
        return "\n".join(lines)


def row(example: str) -> PreviewRow:
    """Build and compare."""
    case = read_case(EXAMPLES / f"{example}.toml")
    setting = setting_of(case)
    clock = time.perf_counter()
    preview = build_preview(case)
    build_s = time.perf_counter() - clock
    nearby, chance = Nearby(case), np.random.default_rng(SEED)
    found: tuple[list[np.ndarray], list[np.ndarray]] = [], []
    spent: list[tuple[float, ...]] = []
    within: list[np.ndarray] = []
    while len(spent) < ASKED:
        point = chance.uniform(-1.0, 1.0, nearby.size)
        one = len(spent) % 2 == 0
        if one:
            point *= np.arange(nearby.size) == chance.integers(nearby.size)
        other = nearby.placed(point)
        try:
            nearby.point(other)
        except ValueError:
            continue
        start = time.perf_counter(), time.process_time()
        outcome = preview.outcome(other)
        middle = time.perf_counter(), time.process_time()
        full = solve_outcome(nearby.placed(point), setting, preview.frame.layout, until_s=0.0)
        end = time.perf_counter(), time.process_time()
        spent.append(tuple(b - a for a, b in zip((*start, *middle), (*middle, *end), strict=True)))
        error = np.abs(errors(preview, outcome, full))
        bound = preview.error.at(point, outcome)
        within.append(error <= [bound.skin_k, bound.fat_k, bound.evenness, bound.tuning])
        found[0 if one else 1].append(error)
    seconds = np.median(spent, axis=0)
    return PreviewRow(
        example=example,
        unknowns=_unknowns(preview),
        build_s=build_s,
        preview_s=float(seconds[0]),
        full_s=float(seconds[2]),
        processor_s=(float(seconds[1]), float(seconds[3])),
        small=_summary(found[0]),
        wide=_summary(found[1]),
        held=float(np.mean(within)),
    )


def _unknowns(preview: WhatIfPreview) -> int:
    grid = preview.frame.grid
    held = np.zeros(grid.shape[:2], dtype=bool)
    for number in range(len(preview.case.panels)):
        held[grid.panel_nodes(number)] = True
    return int(np.prod(grid.shape)) - int(held.sum())


def _summary(found: list[np.ndarray]) -> np.ndarray:
    all_of = np.stack(found)
    return np.stack([np.sqrt((all_of**2).mean(axis=0)), all_of.max(axis=0)])


if __name__ == "__main__":
    for name in sys.argv[1:] or ("upper_arm",):
        print(row(name), flush=True)
