"""Readings that look like a slip, and which slip: unit, decimal place, digits, side, level.

A reading is questioned, never refused: the body may have changed. It is questioned if it lies outside what is
plausible for the region (`body.plausible`, wide on purpose) or far from what it should resemble: the same
place earlier, else the other reading of this set, else the other side. Slips are named only if what would
have been meant then fits. Thresholds are assumptions of ours (label A).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from evenfield.body import PLAUSIBLE, RegionKind
from evenfield.body.plausible import Span
from evenfield.clinic.measuring.protocols import Protocol, Quantity
from evenfield.clinic.measuring.units import CM, INCH, KG, MM, POUND, TypedUnit

WEIGHT_KG = Span(25.0, 350.0)
_FAR = {Quantity.GIRTH: 0.06, Quantity.FAT: 0.35, Quantity.WEIGHT: 0.06}
_OTHER_SIDE = 1.5  # how much further the other side may differ than the same place earlier
_MOST_NAMED = 3


@dataclass(frozen=True)
class HeldAgainst:
    """What a reading can be held against, all in SI and as shown by the instrument.

    Attributes:
        span: what is plausible at all.
        earlier: the same place at the last visit with the same protocol.
        fellow: another reading of the same place in this set.
        other_side: the same place on the other side, last time.
        other_places: other levels or directions of this region last time, by their words.
    """

    span: Span
    earlier: float | None = None
    fellow: float | None = None
    other_side: float | None = None
    other_places: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class LikelySlip:
    """A slip that would explain the reading, and what was then meant, in SI."""

    words: str
    meant: float


@dataclass(frozen=True)
class Doubt:
    """Why a reading is questioned, and the slips that would explain it, likeliest first."""

    words: str
    likely: tuple[LikelySlip, ...]


def plausible_span(quantity: Quantity, region: RegionKind | None, protocol: Protocol) -> Span:
    """What an instrument can plausibly show, in SI."""
    if quantity is Quantity.WEIGHT or region is None:
        return WEIGHT_KG
    facts = PLAUSIBLE[region]
    if quantity is Quantity.GIRTH:
        return facts.girth_m
    shown = [
        (value + protocol.minus_mm * 1e-3) / protocol.factor for value in (facts.fat_m.low, facts.fat_m.high)
    ]
    return Span(*shown)


def question(
    typed: str, value: float, unit: TypedUnit, protocol: Protocol, known: HeldAgainst
) -> Doubt | None:
    """The question about one reading, None if there is none.

    Args:
        typed: the text as typed.
        value: the same in SI.
        unit: the unit it was read in.
        protocol: what it was measured by.
        known: what it is held against.
    """
    far = _FAR[protocol.quantity]
    references = (
        ("the last visit", known.earlier, far),
        ("the other reading", known.fellow, far),
        ("the other side", known.other_side, _OTHER_SIDE * far),
    )
    name, reference, allowed = next((one for one in references if one[1] is not None), ("", None, far))
    outside = value not in known.span
    if not outside and (reference is None or abs(value - reference) <= allowed * reference):
        return None

    def fits(meant: float) -> bool:
        if meant not in known.span:
            return False
        return reference is None or abs(meant - reference) <= allowed * reference

    fitting = [one for one in _slips(typed, value, unit, protocol, known) if fits(one.meant)]
    if reference is not None:
        fitting.sort(key=lambda one: abs(one.meant - reference))
        against = f"{name} had {unit.show(reference)}"
        if name == "the other reading":
            against += "; the slip may be in either"
    else:
        against = f"here {unit.number(known.span.low)} to {unit.show(known.span.high)} is expected"
    return Doubt(f"{typed.strip()} {unit.word}: {against}.", tuple(fitting[:_MOST_NAMED]))


def _slips(
    typed: str, value: float, unit: TypedUnit, protocol: Protocol, known: HeldAgainst
) -> Iterator[LikelySlip]:
    near = 2 * protocol.limit(value)
    if known.other_side is not None and abs(value - known.other_side) <= near:
        yield LikelySlip("left and right exchanged", known.earlier if known.earlier is not None else value)
    for words, there in known.other_places.items():
        if known.earlier is not None and abs(value - there) <= near:
            yield LikelySlip(f"read at another place ({words})", known.earlier)
    for words, factor in _UNIT_SLIPS[unit.word]:
        yield LikelySlip(words, value * factor)
    for swapped in _swapped(typed.strip()):
        yield LikelySlip(f"digits exchanged ({swapped}?)", unit.read(swapped))
    for words, factor in (("decimal place", 0.1), ("decimal place", 10.0), ("decimal place", 100.0)):
        yield LikelySlip(words, value * factor)


_UNIT_SLIPS: Mapping[str, tuple[tuple[str, float], ...]] = {
    CM.word: (
        ("inches typed as centimetres", 2.54),
        ("millimetres typed as centimetres", 0.1),
    ),
    INCH.word: (
        ("centimetres typed as inches", 1 / 2.54),
        ("millimetres typed as inches", 1 / 25.4),
    ),
    MM.word: (
        ("centimetres typed as millimetres", 10.0),
        ("inches typed as millimetres", 25.4),
    ),
    KG.word: (("pounds typed as kilograms", POUND.size),),
    POUND.word: (("kilograms typed as pounds", 1 / POUND.size),),
}


def _swapped(typed: str) -> Iterator[str]:
    """The text with each pair of neighbouring unlike digits exchanged, the point left where it is."""
    if not all(mark.isdigit() or mark in ".," for mark in typed):
        return
    places = [place for place, mark in enumerate(typed) if mark.isdigit()]
    for first, second in pairwise(places):
        if typed[first] != typed[second]:
            marks = list(typed)
            marks[first], marks[second] = marks[second], marks[first]
            yield "".join(marks)


def question_of_set(
    values: Sequence[float], earlier: Sequence[float], other_side: Sequence[float] | None, protocol: Protocol
) -> str:
    """A question about girths that together fit the other side, or their own levels reversed; "" if none.

    Each (n,) by level, in SI. Small differences between sides escape the single reading's question, but not
    that of all levels together.
    """
    own = _apart(values, earlier)
    limit = sum(protocol.limit(value) for value in earlier)
    if (
        other_side is not None
        and _apart(earlier, other_side) > limit
        and _apart(values, other_side) < own / 2
    ):
        return "All girths together resemble the other side at the last visit: left and right exchanged?"
    reverse = list(reversed(earlier))
    if len(values) > 1 and _apart(earlier, reverse) > limit and _apart(values, reverse) < own / 2:
        return "The girths resemble those of the last visit in reverse order: were the levels exchanged?"
    return ""


def _apart(some: Sequence[float], others: Sequence[float]) -> float:
    return sum(abs(a - b) for a, b in zip(some, others, strict=True))
