"""Why a device shows this tuning: the likely causes in order, each with the check that tells it.

Bayes over a short list of causes: the tuning the circuit would show under each is compared with the one
shown. Weights depend on assumed priors and, unless the profile was made for the device, on a generic circuit:
they order a search, they are no measurement.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from evenfield.field.absorbed import Absorbed, absorbed_fraction, check_set_power, check_tuning
from evenfield.field.device import Cables, DeviceProfile
from evenfield.field.matching import best_match, stuck_match

AS_PLANNED = "as_planned"
SOMETHING_ELSE = "something_else"
CAUTION = "Switch the field off before touching panels or cables, and defer to the device's manual."


@dataclass(frozen=True)
class PlannedPanel:
    """A panel's name and its planned gap in m."""

    name: str
    gap_m: float


@dataclass(frozen=True)
class Hypothesis:
    """One possible state of things.

    `key` names it, "gap_10:inner" for a panel's. `prior`: weight before the tuning is seen. `panel`: whose
    gap grows by `gap_m`; `fat`: factor on fat thickness; `cables`: how they lie; `tuner_at_end`: whether the
    tuner stands at an end stop.
    """

    key: str
    text: str
    check: str
    prior: float
    panel: str | None = None
    gap_m: float = 0.0
    fat: float = 1.0
    cables: Cables = Cables.SPREAD
    tuner_at_end: bool = False

    @property
    def other_load(self) -> bool:
        """Whether the admittance differs from that of the plan."""
        return self.panel is not None or self.fat != 1.0


@dataclass(frozen=True)
class Cause:
    """A hypothesis weighed against the shown tuning.

    `weight`: 0 to 1, all causes add up to 1. `predicted_percent`: tuning the circuit would show, None for
    "something else". `computed`: whether the admittance behind it was solved (else scaled by the rule).
    `absorbed_w`: low, mid, high estimate of the power the body takes up if this is the cause and the shown
    tuning holds; None for "something else".
    """

    hypothesis: Hypothesis
    weight: float
    predicted_percent: float | None
    computed: bool
    absorbed_w: tuple[float, float, float] | None

    def __str__(self) -> str:
        return f"{100 * self.weight:.0f} %: {self.hypothesis.text} {self.hypothesis.check}"


@cache
def _data() -> dict[str, Any]:
    return tomllib.loads(files("evenfield.field").joinpath("data", "causes.toml").read_text("utf-8"))


def sources() -> tuple[str, ...]:
    """Where the causes, their priors and the scaling rule come from."""
    data = _data()
    return (data["source"]["causes"], data["source"]["prior"], data["rule"]["source"])


def hypotheses(panels: Sequence[PlannedPanel]) -> tuple[Hypothesis, ...]:
    """All hypotheses for these panels. Solve those with `other_load` and give their admittances by key for a
    better answer than the scaling rule's.

    Raises ValueError without panels, for two of one name, or a gap that is not above 0.
    """
    names = [panel.name for panel in panels]
    if not names or len(set(names)) != len(names):
        raise ValueError(f"panels are {', '.join(names) or 'none'}; allowed: one or more, each name once")
    for panel in panels:
        if not panel.gap_m > 0.0:
            raise ValueError(
                f"gap of the {panel.name} panel is {1e3 * panel.gap_m:g} mm; allowed: above 0 mm"
            )
    out = []
    for key, cause in _data()["cause"].items():
        if "gap_mm" not in cause:
            percent = cause.get("fat_percent", 0)
            out.append(
                Hypothesis(
                    key,
                    cause["text"].format(percent=abs(percent)),
                    cause["check"],
                    cause["prior"],
                    fat=1.0 + percent / 100.0,
                    cables=Cables(cause.get("cables", Cables.SPREAD)),
                    tuner_at_end=cause.get("tuner_at_end", False),
                )
            )
            continue
        for name in names:
            words = {"panel": name, "mm": cause["gap_mm"]}
            out.append(
                Hypothesis(
                    f"{key}:{name}",
                    cause["text"].format(**words),
                    cause["check"].format(**words),
                    cause["prior"] / len(names),
                    panel=name,
                    gap_m=cause["gap_mm"] / 1000.0,
                )
            )
    return tuple(out)


def scaled_admittance(hypothesis: Hypothesis, panels: Sequence[PlannedPanel], planned_s: complex) -> complex:
    """Admittance in S under a hypothesis, scaled from that of the plan.

    The load's series reactance and resistance go as powers of that panel's gap and of the fat's thickness,
    fitted to the solver (docs/matching.md). For one or two panels; raises ValueError for a gap among more.
    """
    if not hypothesis.other_load:
        return planned_s
    rule = _data()["rule"]
    ohm = 1.0 / planned_s
    reactance = hypothesis.fat ** rule["fat_reactance"]
    resistance = hypothesis.fat ** rule["fat_resistance"]
    if hypothesis.panel is not None:
        if len(panels) > 2:
            raise ValueError(
                f"{hypothesis.key}: with {len(panels)} panels its admittance must be computed; "
                "the scaling rule holds for one or two"
            )
        gap = next(panel.gap_m for panel in panels if panel.name == hypothesis.panel)
        grown = (gap + hypothesis.gap_m) / gap
        reactance *= grown ** rule["gap_reactance"]
        resistance *= grown ** rule["gap_resistance"]
    return 1.0 / complex(ohm.real * resistance, ohm.imag * reactance)


def likely_causes(
    profile: DeviceProfile,
    *,
    set_power_w: float,
    shown_tuning_percent: float,
    panels: Sequence[PlannedPanel],
    admittances: Mapping[str, complex],
) -> tuple[Cause, ...]:
    """Causes of the shown tuning, likeliest first.

    `panels`: as planned. `admittances`: S, by key of `hypotheses`; "as_planned" is needed, what else is
    missing is scaled from it. The shown figure and the circuit are taken to agree within a normal error cut
    off at 0 and 100 %: the profile's reading and model errors and the rounding of forward and returned power
    to whole steps, which makes a tuning shown at low power say little.

    Raises ValueError for a power not above 0, a tuning outside 0 to 100 %, an unknown key, or one missing.
    """
    check_set_power(set_power_w)
    check_tuning(shown_tuning_percent)
    every = hypotheses(panels)
    loads = {h.key for h in every if h.key == AS_PLANNED or h.other_load}
    if unknown := sorted(set(admittances) - loads):
        raise ValueError(f"admittance of {unknown[0]} is not asked for; allowed: {', '.join(sorted(loads))}")
    if AS_PLANNED not in admittances:
        raise ValueError(f'the admittance of "{AS_PLANNED}" is missing; it is needed')
    sd = _error_percent(profile, set_power_w)
    found: list[tuple[Hypothesis, float | None, bool, Absorbed | None, float]] = []
    for h in every:
        if h.key == SOMETHING_ELSE:
            found.append((h, None, False, None, h.prior / 100.0))
            continue
        given = admittances.get(h.key)
        load = scaled_admittance(h, panels, admittances[AS_PLANNED]) if given is None else given
        circuit = profile.circuit(h.cables)
        match = (stuck_match if h.tuner_at_end else best_match)(circuit, load)
        absorbed = absorbed_fraction(profile, load, h.cables, shown_tuning_percent)
        computed = given is not None or not h.other_load
        density = h.prior * _density(shown_tuning_percent, match.tuning_percent, sd)
        found.append((h, match.tuning_percent, computed, absorbed, density))
    total = sum(item[-1] for item in found)
    causes = [
        Cause(h, density / total, predicted, computed, _watts(absorbed, set_power_w))
        for h, predicted, computed, absorbed, density in found
    ]
    return tuple(sorted(causes, key=lambda cause: -cause.weight))


def _watts(absorbed: Absorbed | None, set_power_w: float) -> tuple[float, float, float] | None:
    if absorbed is None:
        return None
    return absorbed.low * set_power_w, absorbed.mid * set_power_w, absorbed.high * set_power_w


def _error_percent(profile: DeviceProfile, set_power_w: float) -> float:
    """Standard deviation between shown and computed tuning. Two rounded powers: each step²/12."""
    rounding = 100.0 * profile.power_step_w.value / set_power_w / math.sqrt(6.0)
    return math.hypot(profile.reading_sd_percent.value, profile.model_sd_percent.value, rounding)


def _density(shown: float, predicted: float, sd: float) -> float:
    """Normal density per percent, cut off at 0 and 100 %."""
    root = sd * math.sqrt(2.0)
    inside = 0.5 * (math.erf((100.0 - predicted) / root) - math.erf(-predicted / root))
    return math.exp(-(((shown - predicted) / root) ** 2)) / (sd * math.sqrt(2.0 * math.pi)) / inside
