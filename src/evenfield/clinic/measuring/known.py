"""What a new reading is held against: this person's last numbers by the same protocol."""

from collections.abc import Sequence

from evenfield.clinic.measuring.history import Measured
from evenfield.clinic.measuring.plan import EntryLine, SetPlan, direction_words, level_words
from evenfield.clinic.measuring.slips import HeldAgainst, plausible_span
from evenfield.clinic.measuring.taking import KnownOf

_OTHER = {"left": "right", "right": "left"}


def known_of(plan: SetPlan, numbers: Sequence[Measured]) -> KnownOf:
    """For each line of a plan what is known; `numbers` in force, newest first."""

    def known(line: EntryLine) -> HeldAgainst:
        alike = [one for one in numbers if one.protocol.key == line.protocol.key]
        weight = line.level_mm is None
        side = "" if weight else plan.side
        region = None if weight else plan.region
        other_places: dict[str, float] = {}
        for one in alike:
            if one.region is region and one.side == side and _place(one) != (line.level_mm, line.direction):
                other_places.setdefault(_words(one, plan), one.reading)
        return HeldAgainst(
            span=plausible_span(line.quantity, plan.region, line.protocol),
            earlier=_newest(alike, side, line),
            other_side=_newest(alike, _OTHER[side], line) if side else None,
            other_places=other_places,
        )

    return known


def girths_last_time(
    plan: SetPlan, numbers: Sequence[Measured]
) -> tuple[list[float], list[float] | None] | None:
    """Girths of this plan's levels last time, ascending, and the other side's; None if any is missing."""
    if plan.girth is None:
        return None
    alike = [one for one in numbers if one.protocol.key == plan.girth.key]
    lines = sorted(
        (line for line in plan.lines() if line.protocol is plan.girth), key=lambda line: line.level_mm or 0.0
    )
    own = [value for line in lines if (value := _newest(alike, plan.side, line)) is not None]
    if len(own) != len(lines):
        return None
    other_side = _OTHER.get(plan.side, "")
    other = [value for line in lines if (value := _newest(alike, other_side, line)) is not None]
    return own, other if other_side and len(other) == len(lines) else None


def _newest(alike: Sequence[Measured], side: str, line: EntryLine) -> float | None:
    return next(
        (one.reading for one in alike if one.side == side and _place(one) == (line.level_mm, line.direction)),
        None,
    )


def _place(one: Measured) -> tuple[float | None, str]:
    return (one.level_mm, one.direction)


def _words(one: Measured, plan: SetPlan) -> str:
    level = level_words(one.level_mm or 0.0, plan.length_unit)
    return f"{direction_words(one.direction, one.region)}, {level}" if one.direction else level
