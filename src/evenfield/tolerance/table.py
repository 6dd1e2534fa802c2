"""The tolerance table: every usual error of placing against the plan, all on one kind of grid.

Plan and errors are computed at the same absorbed power, so that a change is an effect of place and not of
tuning; what tuning does to the absorbed power stands beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from evenfield.applicator import PlacementError, check_placement
from evenfield.case import Case
from evenfield.forecast import asked_to_json
from evenfield.forecast.engine import setting_of
from evenfield.tolerance.outcome import LOOK_MINUTES, PlacementOutcome, solve_outcome, table_layout
from evenfield.tolerance.variation import SHIFT_MM, Variation, variations

Progress = Callable[[float], None]
BEYOND_M = 1e-3 * max(SHIFT_MM)
"""An error of placing may bring a panel so far past the measured levels: nobody measures for an error."""
BEYOND = "past the measured levels: girth and fat of the outermost one held there"


@dataclass(frozen=True)
class Difference:
    """One outcome less another. `skin_k`, `fat_k`: of the hottest point at each look, K; `minutes`: until the
    band, NaN where either does not reach it."""

    skin_k: tuple[float, ...]
    fat_k: tuple[float, ...]
    evenness: float
    tuning: float
    minutes: float


def difference(
    outcome: PlacementOutcome, base: PlacementOutcome, looks: tuple[float, ...] = LOOK_MINUTES
) -> Difference:
    """What changes from `base` to `outcome` at these minutes."""
    return Difference(
        skin_k=tuple(outcome.at(outcome.skin_c, m) - base.at(base.skin_c, m) for m in looks),
        fat_k=tuple(outcome.at(outcome.fat_c, m) - base.at(base.fat_c, m) for m in looks),
        evenness=outcome.evenness - base.evenness,
        tuning=outcome.tuning_percent - base.tuning_percent,
        minutes=outcome.minutes_to_band - base.minutes_to_band,
    )


@dataclass(frozen=True)
class Effect:
    """A variation and what it does; `refused` holds the sentence if the placement is not possible, `note`
    what must be known of the answer."""

    variation: Variation
    outcome: PlacementOutcome | None
    refused: str = ""
    note: str = ""

    @property
    def reason(self) -> str:
        """Why the placement is not possible, without the key, the value and what is allowed instead."""
        return self.refused.partition("): ")[2].partition("; ")[0]


@dataclass(frozen=True)
class ToleranceTable:
    """The planned placement on the table's grid, and every variation."""

    case: Case
    base: PlacementOutcome
    effects: tuple[Effect, ...]

    def change(self, effect: Effect) -> Difference:
        """What a variation changes. Raises ValueError for one that is not possible."""
        if effect.outcome is None:
            raise ValueError(f"{effect.variation.words}: {effect.refused}")
        return difference(effect.outcome, self.base)

    def to_json(self) -> dict[str, Any]:
        """Plain data: what was asked and assumed, plan and effects, changes in K, % and min."""
        return {
            **asked_to_json(self.case),
            "looks_min": list(LOOK_MINUTES),
            "band_c": list(self.case.session.band_c),
            "plan": self.base.to_json(),
            "effects": [
                {
                    "group": e.variation.group,
                    "panel": e.variation.panel,
                    "words": e.variation.words,
                    "refused": e.refused,
                    "note": e.note,
                    "outcome": None if e.outcome is None else e.outcome.to_json(),
                    "change": None if e.outcome is None else _change_json(self.change(e)),
                }
                for e in self.effects
            ],
        }


def _change_json(d: Difference) -> dict[str, Any]:
    return {
        "skin_k": [round(k, 3) for k in d.skin_k],
        "fat_k": [round(k, 3) for k in d.fat_k],
        "evenness": round(d.evenness, 4),
        "tuning_points": round(d.tuning, 2),
        "minutes_to_band": None if d.minutes != d.minutes else round(d.minutes, 2),
    }


def tolerance_table(
    case: Case, chosen: Iterable[Variation] | None = None, *, progress: Progress = lambda share: None
) -> ToleranceTable:
    """Compute the plan and its variations (all the usual ones unless some are `chosen`).

    `progress` gets the share done and may raise to cancel.
    """
    setting = setting_of(case)
    layout = table_layout(case)
    base = solve_outcome(case, setting, layout)
    effects = []
    every = list(variations(case) if chosen is None else chosen)
    for n, variation in enumerate(every):
        progress(n / len(every))
        try:
            check_placement(variation.case.region, variation.case.placed, beyond_m=BEYOND_M)
        except PlacementError as error:
            effects.append(Effect(variation, None, str(error)))
            continue
        outcome = solve_outcome(variation.case, setting, layout)
        effects.append(Effect(variation, outcome, note=BEYOND if _beyond(variation.case) else ""))
    progress(1.0)
    return ToleranceTable(case, base, tuple(effects))


def _beyond(case: Case) -> bool:
    try:
        check_placement(case.region, case.placed)
    except PlacementError:
        return True
    return False
