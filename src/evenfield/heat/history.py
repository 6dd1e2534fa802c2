"""Temperature through a session: baseline, power that varies, pauses and cooling after, with its heat
balance."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.heat.bioheat import Bioheat
from evenfield.heat.power import PowerCurve
from evenfield.heat.stepping import TOLERANCE_K, Step, between, steady, steps

Floats = NDArray[np.float64]
Progress = Callable[[float], None]
"""Called with the share of simulated time done, 0 to 1; may raise to cancel."""


@dataclass(frozen=True)
class HeatBalance:
    """Heat since the start of power, above the baseline, J: in from the field, stored, carried off by blood
    (less what it brought in at baseline) and lost at the skin."""

    absorbed_j: float
    stored_j: float
    blood_j: float
    skin_j: float

    @property
    def closure(self) -> float:
        """|in − (stored + blood + skin)| over in; 0 where nothing was absorbed."""
        if self.absorbed_j == 0:
            return 0.0
        return abs(self.absorbed_j - self.stored_j - self.blood_j - self.skin_j) / self.absorbed_j


@dataclass(frozen=True)
class History:
    """`time_s` (nt,); `temperature_c` (nt, nk, nj, skin_node + 1) float32, from the axis to the skin
    surface."""

    time_s: Floats
    temperature_c: NDArray[np.float32]
    balance: HeatBalance
    steps: int

    @property
    def minutes(self) -> Floats:
        """The times in minutes."""
        return self.time_s / 60.0


def simulate(
    model: Bioheat,
    absorbed: PowerCurve,
    output_s: Floats,
    *,
    baseline_c: Floats | None = None,
    tolerance_k: float = TOLERANCE_K,
    progress: Progress | None = None,
    keep: list[Floats] | None = None,
) -> History:
    """Full-order temperatures at `output_s` (ascending, from 0 on; beyond the power's end the body cools).

    `baseline_c`: the steady temperature without power if already known. `keep` collects the state after each
    step (for building a reduced model).
    """
    start = steady(model) if baseline_c is None else baseline_c
    end_s = float(output_s[-1])
    breaks = sorted({0.0, *(t for t in absorbed.breaks() if t < end_s), end_s})
    out = np.empty((output_s.size, *start.shape), dtype=np.float32)
    filled = 0
    while filled < output_s.size and output_s[filled] <= 0.0:
        out[filled] = start
        filled += 1
    u = start
    absorbed_j = blood_j = skin_j = 0.0
    count = 0
    rest: Step | None = None
    for begin, end in itertools.pairwise(breaks):
        watts = absorbed.at(begin)
        before: Step | None = None
        for step in steps(model, u, watts, begin, end, tolerance_k=tolerance_k):
            rest = rest or step
            if before is not None:
                h = step.time_s - before.time_s
                blood_j += h * (0.5 * (before.blood_w + step.blood_w) - rest.blood_w)
                skin_j += h * (0.5 * (before.skin_w + step.skin_w) - rest.skin_w)
                absorbed_j += h * watts
                count += 1
                while filled < output_s.size and output_s[filled] <= step.time_s + 1e-6:
                    out[filled] = between(before, step, float(output_s[filled]))
                    filled += 1
                if keep is not None:
                    keep.append(step.temperature_c)
                if progress is not None:
                    progress(step.time_s / end_s)
            before = step
            u = step.temperature_c
    stored = float(np.sum(model.capacity * (u - start)))
    return History(output_s, out, HeatBalance(absorbed_j, stored, blood_j, skin_j), count)
