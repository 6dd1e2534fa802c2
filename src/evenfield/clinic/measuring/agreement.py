"""Repeated readings: whether they agree, whether another is wanted, and what value they come to.

Two readings within the limit: their mean. Further apart: another reading, and the median of three or more as
soon as two of them lie within the limit (mean of two, median of three: ISAK, from memory, label M; a third
beyond 1 cm: PhenX; WHO repeats both beyond 1 cm). If the protocol's most readings do not agree, the median
stands only with a reason and is marked.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import mean, median

from evenfield.clinic.measuring.protocols import Protocol


@dataclass(frozen=True)
class Settled:
    """What readings come to.

    Attributes:
        reading: mean or median of the readings, in SI, as shown by the instrument.
        value: the same converted as the protocol says, in SI.
        by: how, in words.
        agreed: whether two of them lie within the limit.
        want_another: whether another reading is to be taken.
    """

    reading: float
    value: float
    by: str
    agreed: bool
    want_another: bool


def settle(readings: Sequence[float], protocol: Protocol) -> Settled:
    """Judge readings in SI, at least one."""
    count = len(readings)
    middle = mean(readings) if count < 3 else median(readings)
    ordered = sorted(readings)
    nearest = min((b - a for a, b in pairwise(ordered)), default=float("inf"))
    agreed = nearest <= protocol.limit(middle) + 1e-9
    return Settled(
        reading=round(middle, 7),
        value=protocol.converted(middle),
        by=f"{'mean' if count < 3 else 'median'} of {count}" if count > 1 else "one reading",
        agreed=agreed,
        want_another=count < protocol.readings or (not agreed and count < protocol.readings_most),
    )
