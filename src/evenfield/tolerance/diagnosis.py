"""Why a device shows this tuning: the causes of `field.diagnosis`, each one's load solved for this case."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from evenfield.applicator import PlacementError, check_placement
from evenfield.case import Case
from evenfield.field import (
    Cause,
    DeviceProfile,
    Hypothesis,
    PlannedPanel,
    hypotheses,
    likely_causes,
    load_device_profile,
    solve_field,
)
from evenfield.field.absorbed import check_set_power, check_tuning
from evenfield.field.diagnosis import AS_PLANNED, CAUTION
from evenfield.forecast.engine import setting_of
from evenfield.forecast.tuning import ExpectedTuning, expected_tuning
from evenfield.tolerance.outcome import bent, table_layout

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Diagnosis:
    """The causes, the likeliest first, of a shown tuning at a set power; `admittance_s`, `expected`: as
    planned."""

    set_power_w: float
    shown_percent: float
    admittance_s: complex
    expected: ExpectedTuning
    causes: tuple[Cause, ...]

    @property
    def caution(self) -> str:
        """What must be said with them."""
        return f"The weights order a search; they are no measurement. {CAUTION}"

    def to_json(self) -> dict[str, Any]:
        """Plain data: weights 0 to 1, %, W."""
        return {
            "set_power_w": self.set_power_w,
            "shown_percent": self.shown_percent,
            "tuning": self.expected.to_json(),
            "causes": [
                {
                    "key": c.hypothesis.key,
                    "text": c.hypothesis.text,
                    "check": c.hypothesis.check,
                    "weight": round(c.weight, 4),
                    "predicted_percent": c.predicted_percent,
                    "computed": c.computed,
                    "absorbed_w": None if c.absorbed_w is None else list(c.absorbed_w),
                }
                for c in self.causes
            ],
            "caution": self.caution,
        }


def diagnosis(
    case: Case,
    set_power_w: float,
    shown_percent: float,
    profile: DeviceProfile | None = None,
    *,
    progress: Progress = lambda share: None,
) -> Diagnosis:
    """Causes of the tuning shown. `progress` gets the share done and may raise to cancel.

    Raises ValueError for a power not above 0, a tuning outside 0 to 100 %, or, with three panels or more, a
    cause whose placement is not possible and which can therefore not be solved.
    """
    check_tuning(shown_percent)
    check_set_power(set_power_w)
    used = profile or load_device_profile()
    panels = [PlannedPanel(p.name, p.gap_m) for p in case.panels]
    asked = [h for h in hypotheses(panels) if h.key == AS_PLANNED or h.other_load]
    layout, materials = table_layout(case), setting_of(case).materials
    admittances: dict[str, complex] = {}
    for n, hypothesis in enumerate(asked):
        progress(n / len(asked))
        changed = assumed(case, hypothesis)
        try:
            check_placement(changed.region, changed.placed)
        except PlacementError:
            continue
        field = solve_field(
            bent(changed, layout), materials, [p.drive for p in changed.panels], residual=1e-5
        )
        admittances[hypothesis.key] = field.admittance_s
    progress(1.0)
    causes = likely_causes(
        used,
        set_power_w=set_power_w,
        shown_tuning_percent=shown_percent,
        panels=panels,
        admittances=admittances,
    )
    planned = admittances[AS_PLANNED]
    return Diagnosis(set_power_w, shown_percent, planned, expected_tuning(planned, used), causes)


def assumed(case: Case, hypothesis: Hypothesis) -> Case:
    """The case as it would be under a hypothesis."""
    if hypothesis.panel is not None:
        panel = next(p for p in case.panels if p.name == hypothesis.panel)
        return case.with_panel(panel.name, gap_m=panel.gap_m + hypothesis.gap_m)
    m = case.measurements
    fat: Any = tuple(tuple(f * hypothesis.fat for f in row) for row in m.fat_m)
    return replace(case, measurements=replace(m, fat_m=fat))
