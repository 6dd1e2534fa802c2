"""Power in time as the operator sets it: steps, pauses at zero, and the end."""

from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite


@dataclass(frozen=True)
class PowerCurve:
    """Piecewise-constant power. Whether it is set or absorbed power, its owner says.

    start_s  when each step begins, ascending, the first 0
    watts    power from then on, not negative; a pause is a step of 0 W
    end_s    when the power goes off for good, after the last start

    Raises ValueError (one clear sentence) if this does not hold.
    """

    start_s: tuple[float, ...]
    watts: tuple[float, ...]
    end_s: float

    def __post_init__(self) -> None:
        if len(self.start_s) != len(self.watts) or not self.start_s:
            raise ValueError(
                f"a power curve needs one start for each power and at least one step; "
                f"given {len(self.start_s)} starts and {len(self.watts)} powers"
            )
        times = (*self.start_s, self.end_s)
        if not all(map(isfinite, times)) or times[0] != 0 or any(b <= a for a, b in pairwise(times)):
            raise ValueError(
                "times of a power curve must ascend from 0 to its end; given "
                + ", ".join(f"{t:g}" for t in times)
                + " s"
            )
        if not all(isfinite(p) and p >= 0 for p in self.watts):
            raise ValueError(
                f"powers must be finite and not negative; given {', '.join(f'{p:g}' for p in self.watts)} W"
            )

    @classmethod
    def constant(cls, watts: float, end_s: float) -> "PowerCurve":
        """One power from 0 to the end."""
        return cls((0.0,), (watts,), end_s)

    def at(self, t_s: float) -> float:
        """Power in W at a time in s: 0 before the start, and from the end on."""
        if not 0 <= t_s < self.end_s:
            return 0.0
        return self.watts[bisect_right(self.start_s, t_s) - 1]

    def breaks(self) -> tuple[float, ...]:
        """Times at which the power may change: every start, and the end."""
        return (*self.start_s, self.end_s)

    def scaled(self, factor: float) -> "PowerCurve":
        """The same curve with every power times `factor`."""
        return PowerCurve(self.start_s, tuple(factor * p for p in self.watts), self.end_s)

    def energy_j(self) -> float:
        """Energy over the whole curve, J."""
        return sum(p * (b - a) for p, (a, b) in zip(self.watts, pairwise(self.breaks()), strict=True))
