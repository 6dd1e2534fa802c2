"""Building a preview: solve some tens of placements near the base, learn from them, check on others."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from evenfield.case import Case
from evenfield.field import Field, solve_field
from evenfield.forecast.engine import Setting, bioheat_of, clearance_of, exchange_of, setting_of
from evenfield.forecast.zones import make_zones
from evenfield.grid.fit import fit
from evenfield.heat.bioheat import Bioheat
from evenfield.heat.reduced_build import build_reduced
from evenfield.tolerance.answer import PreviewError, distance, rise
from evenfield.tolerance.learned import Kriging, Stack
from evenfield.tolerance.nearby import Nearby
from evenfield.tolerance.outcome import PlacementOutcome, solve_outcome
from evenfield.tolerance.preview import PreviewFrame, WhatIfPreview

Floats = NDArray[np.float64]
Progress = Callable[[str, float], None]
LEARNED_PER_PANEL, HEATED_PER_PANEL, CHECKED = 50, 12, 24
"""Placements whose field is solved, those of them whose heat is run, others computed in full as a check."""
MOST_SHAPES = 100
SURE = 2.0
"""A bound is this times the largest error found on the placements of the check, each as a share of its
distance and rise (what it holds on: docs/placement.md)."""
SKIPPED = 5000
"""How far along the sequence the check's placements begin."""


def silent(step: str, share: float) -> None:
    """No progress shown."""


def build(case: Case, *, progress: Progress = silent, checked: int = CHECKED) -> WhatIfPreview:
    """Build the preview of a checked case. `progress` gets the step's name and its share done and may raise
    to cancel. Raises PreviewRangeError if the base itself is too near to the skin."""
    nearby = Nearby(case)
    nearby.point(case)
    setting, frame = setting_of(case), PreviewFrame.of(case)
    base = solve_outcome(case, setting, frame.layout, until_s=0.0)
    field = _solved(case, setting, frame, None)
    points = [np.zeros(nearby.size), *islice(nearby.spread(), LEARNED_PER_PANEL * len(case.panels))]
    values, heated = [], []
    model = bioheat_of(case, setting, field)
    for n, point in enumerate(points):
        progress("fields", n / len(points))
        other = nearby.placed(point)
        solved = _solved(other, setting, frame, field) if n else field
        values.append(_told(solved, frame))
        if 0 < n <= HEATED_PER_PANEL * len(case.panels):
            heated.append(_other(model, other, solved, frame))
    progress("reduced heat", 0.0)
    zones = make_zones(frame.grid, case.placed, case.measurements.kind.trunk)
    reduced = build_reduced(
        model,
        max(case.session.absorbed()[1].watts),
        zones.mean,
        zones.inside,
        others=heated,
        varied=False,
        most_shapes=MOST_SHAPES,
    )
    learned = Kriging.through(np.stack(points), np.stack(values))
    preview = WhatIfPreview(case, base, learned, reduced, PreviewError(0, 0, 0, 0, (0, 0, 0, 0), 0))
    return replace(preview, error=_measured(preview, setting, frame, checked, progress))


def _solved(case: Case, setting: Setting, frame: PreviewFrame, start: Field | None) -> Field:
    grid = fit(frame.layout, case.region, case.placed)
    return solve_field(
        grid,
        setting.materials,
        [p.drive for p in case.panels],
        residual=1e-5,
        start=None if start is None else start.potential,
    )


def _told(field: Field, frame: PreviewFrame) -> Floats:
    """What is learned of a field: see `WhatIfPreview.learned`."""
    stack = Stack.of(field.grid, clearance_of(field.grid), frame.nearest)
    ratio = np.log(field.heating) - stack.log_heating[:, :, None]
    y = field.admittance_s
    return np.concatenate([ratio.ravel(), [np.log(abs(y)) - stack.log_admittance, np.angle(y)]])


def _other(model: Bioheat, case: Case, field: Field, frame: PreviewFrame) -> Bioheat:
    """The base's heat problem with this placement's source and exchange."""
    source = frame.source(field.grid, field.heating)
    return replace(model, source=source, exchange=exchange_of(case, field.grid))


def checks(nearby: Nearby, count: int) -> Iterator[Floats]:
    """Placements for the check: in turn anywhere in the range, and with one panel, then one parameter moved
    only, as is asked most."""
    d = len(nearby.keys)
    for n, point in enumerate(islice(nearby.spread(SKIPPED), count)):
        kept = np.zeros(point.size, dtype=bool)
        panel = n // 3 % len(nearby.case.panels)
        if n % 3 == 0:
            kept[:] = True
        elif n % 3 == 1:
            kept[panel * d : (panel + 1) * d] = True
        else:
            kept[panel * d + n // 3 % d] = True
        yield np.where(kept, point, 0.0)


def errors(preview: WhatIfPreview, outcome: PlacementOutcome, full: PlacementOutcome) -> Floats:
    """Errors (4,) of a preview's changes against the full answer's: hottest skin and fat at the end (K),
    evenness, tuning."""
    base = preview.outcome(preview.case)
    return np.array(
        [
            (outcome.skin_c[-1] - base.skin_c[-1]) - (full.skin_c[-1] - preview.base.skin_c[-1]),
            (outcome.fat_c[-1] - base.fat_c[-1]) - (full.fat_c[-1] - preview.base.fat_c[-1]),
            (outcome.evenness - base.evenness) - (full.evenness - preview.base.evenness),
            (outcome.tuning_percent - base.tuning_percent)
            - (full.tuning_percent - preview.base.tuning_percent),
        ]
    )


def _measured(
    preview: WhatIfPreview, setting: Setting, frame: PreviewFrame, count: int, progress: Progress
) -> PreviewError:
    nearby = Nearby(preview.case)
    shares, largest = np.zeros(4), np.zeros(4)
    for n, point in enumerate(checks(nearby, count)):
        progress("check against full answers", n / count)
        other = nearby.placed(point)
        full = solve_outcome(other, setting, frame.layout, until_s=0.0)
        outcome = preview.outcome(other)
        error = np.abs(errors(preview, outcome, full))
        scale = distance(point) * np.array([rise(outcome.skin_c), rise(outcome.fat_c), 1.0, 1.0])
        shares, largest = np.maximum(shares, error / scale), np.maximum(largest, error)
    skin, fat, even, tuning = (float(SURE * s) for s in shares)
    return PreviewError(skin, fat, even, tuning, tuple(float(e) for e in largest), count)  # type: ignore[arg-type]
