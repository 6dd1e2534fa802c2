"""ValueChange between visits: only within one protocol, and only against the error of measuring.

The error of one reading is the larger of what the protocol states as typical and the technical error (TEM)
of the clinic's own repeated readings by that protocol, once there are enough of them. The number of readings
averaged is not used to shrink it: averaging does not help against finding the landmark again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from evenfield.clinic.measuring.history import Measured, measured
from evenfield.clinic.measuring.models import MeasureEntry
from evenfield.clinic.measuring.protocols import Protocol
from evenfield.outcome.error_of_measurement import mdc95, tem

ENOUGH_PEOPLE = 20  # for a TEM (reliability studies ask for at least 20, in one session; label P)
_LOOKED_AT = 200  # newest entries of the clinic


class MixedProtocolsError(ValueError):
    """Two numbers that must not be compared; one sentence saying why."""


@dataclass(frozen=True)
class OwnError:
    """The clinic's own technical error of one reading in SI, and from how many people it comes."""

    value: float
    people: int


@dataclass(frozen=True)
class ValueChange:
    """A difference of two values of one place by one protocol, in SI.

    Attributes:
        difference: later less earlier.
        error: standard error of measurement of one value.
        smallest_real: smallest change beyond measuring error, 95 %.
        same_measurer: whether one person measured both.
    """

    earlier: datetime
    later: datetime
    difference: float
    error: float
    smallest_real: float
    same_measurer: bool

    @property
    def beyond(self) -> bool:
        """Whether the change exceeds measuring error."""
        return abs(self.difference) > self.smallest_real

    @property
    def words(self) -> str:
        """What may be said about it, and no more."""
        if self.beyond:
            return f"{'more' if self.difference > 0 else 'less'}, beyond measuring error"
        return "within measuring error"


def why_not(earlier: Measured, later: Measured) -> str:
    """Why two numbers must not be compared, "" if they may."""
    if earlier.place != later.place:
        return "They were measured at different places."
    one, other = earlier.protocol, later.protocol
    if one.key == other.key:
        return ""
    if one.id != other.id:
        return f"“{one.name}” and “{other.name}” measure differently: their numbers are never mixed."
    if one.version != other.version:
        versions = f"version {one.version} to {other.version}"
        return f"“{one.name}” was changed from {versions}: their numbers are never mixed."
    return f"“{one.name}” was rewritten without a new version: its numbers before and after are not mixed."


def newest_of_all() -> list[tuple[int, Measured]]:
    """Every number of the clinic's newest sets, each with the number of whose it is."""
    rows = MeasureEntry.objects.filter(kept__isnull=False)
    newest = list(rows.select_related("kept").order_by("-number")[:_LOOKED_AT])
    subject = {row.number: row.subject_id for row in newest}
    return [(subject[one.entry], one) for one in measured(newest)]


def own_error(protocol: Protocol, newest: Sequence[tuple[int, Measured]] | None = None) -> OwnError | None:
    """The clinic's own error by this protocol from its newest sets; None while there are too few people.

    From each person the newest pair of first and second readings of each place counts, as corrected. Who asks
    for several protocols reads `newest_of_all()` once.
    """
    pairs: dict[tuple[int, str, str], tuple[float, float]] = {}
    for person, one in newest_of_all() if newest is None else newest:
        if one.protocol.key == protocol.key and len(one.readings) > 1 and not one.withdrawn:
            pairs.setdefault((person, one.side, one.key), (one.readings[0], one.readings[1]))
    people = len({person for person, _side, _key in pairs})
    if people < ENOUGH_PEOPLE:
        return None
    first, second = zip(*pairs.values(), strict=True)
    return OwnError(protocol.factor * tem(first, second), people)


def error_of(one: Measured, own: OwnError | None, *, same_measurer: bool = True) -> float:
    """Standard error of measurement of one value, in SI."""
    typical = one.protocol.factor * one.protocol.typical_error(one.reading, same_person=same_measurer)
    return max(typical, own.value) if own else typical


def change(earlier: Measured, later: Measured, own: OwnError | None = None) -> ValueChange:
    """The change between two visits. Raises MixedProtocolsError if they must not be compared."""
    refused = why_not(earlier, later)
    if refused:
        raise MixedProtocolsError(refused)
    same = earlier.measurer == later.measurer and not (earlier.imported or later.imported)
    error = error_of(earlier, own, same_measurer=same)
    return ValueChange(
        earlier=earlier.at,
        later=later.at,
        difference=later.value - earlier.value,
        error=error,
        smallest_real=mdc95(error),
        same_measurer=same,
    )


@dataclass(frozen=True)
class Series:
    """All numbers of one place by one protocol, oldest first, and the change since the first of them."""

    numbers: tuple[Measured, ...]
    change: ValueChange | None

    @property
    def last(self) -> Measured:
        """The newest number."""
        return self.numbers[-1]


def courses(numbers: Sequence[Measured]) -> list[Series]:
    """Numbers in force (newest first) by place and protocol; the place with the newest number first."""
    gathered: dict[tuple[object, ...], list[Measured]] = {}
    for one in numbers:
        gathered.setdefault((*one.place, one.protocol.key), []).append(one)
    errors: dict[str, OwnError | None] = {}
    newest: list[tuple[int, Measured]] | None = None
    found = []
    for line in gathered.values():
        line.reverse()
        key = line[0].protocol.key
        changed = None
        if len(line) > 1:
            if key not in errors:
                newest = newest_of_all() if newest is None else newest
                errors[key] = own_error(line[0].protocol, newest)
            changed = change(line[0], line[-1], errors[key])
        found.append(Series(tuple(line), changed))
    return found
