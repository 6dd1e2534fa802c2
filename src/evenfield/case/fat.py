"""Fat thickness as people write it: a number, a table of four directions, or a list of those per level."""

from math import isfinite

from evenfield.body import DIRECTIONS, RegionKind
from evenfield.case.limits import Limit, fat_limit
from evenfield.case.model import CaseError

Four = tuple[float, float, float, float]
KEY = "region.fat_mm"
_TRUNK_WORDS = {"left": "inner", "right": "outer"}
_FORMS = (
    "one number, a table { front = .., inner = .., back = .., outer = .. }, or a list of those, one per level"
)


def fat_rows(given: object, levels: int, kind: RegionKind) -> tuple[Four, ...]:
    """Rows of front, inner, back, outer in mm, one per level. Raises CaseError if it cannot be read so."""
    limit = fat_limit(kind)
    if not isinstance(given, list):
        return (_row(given, KEY, kind, limit),) * levels
    if len(given) != levels:
        raise CaseError(
            f"{KEY} has {len(given)} entries but there are {levels} levels; "
            "allowed: one per level, or one for all",
            key=KEY,
            value=len(given),
            allowed=f"{levels} entries",
        )
    return tuple(_row(entry, f"{KEY}[{index}]", kind, limit) for index, entry in enumerate(given))


def _row(given: object, key: str, kind: RegionKind, limit: Limit) -> Four:
    if isinstance(given, dict):
        named = _directions(given, key, kind)
        front, inner, back, outer = (
            _number(given[name], f"{key}.{name}", limit) for name in (named[word] for word in DIRECTIONS)
        )
        return front, inner, back, outer
    all_around = _number(given, key, limit)
    return all_around, all_around, all_around, all_around


def _directions(given: dict[str, object], key: str, kind: RegionKind) -> dict[str, str]:
    """The name under which each of the four directions was given."""
    also = _TRUNK_WORDS if kind.trunk else {}
    allowed = [*DIRECTIONS, *also]
    named: dict[str, str] = {}
    for name in given:
        direction = also.get(name, name)
        if direction not in DIRECTIONS:
            raise CaseError(
                f"unknown key {key}.{name}: allowed here: {', '.join(allowed)}",
                key=f"{key}.{name}",
                value=given[name],
                allowed=", ".join(allowed),
            )
        if direction in named:
            raise CaseError(
                f"{key} gives both {named[direction]} and {name}, which are the same direction; give one",
                key=f"{key}.{name}",
                value=given[name],
                allowed="one of the two",
            )
        named[direction] = name
    for word in DIRECTIONS:
        if word not in named:
            raise CaseError(
                f"{key}.{word} is missing: give all four directions, {', '.join(DIRECTIONS)}",
                key=f"{key}.{word}",
                allowed="a number",
            )
    return named


def _number(given: object, key: str, limit: Limit) -> float:
    if isinstance(given, bool) or not isinstance(given, int | float):
        raise CaseError(f"{key} = {given!r}: must be {_FORMS}", key=key, value=given, allowed=_FORMS)
    if not isfinite(given):
        raise CaseError(
            f"{key} = {given}: must be a finite number", key=key, value=given, allowed="a finite number"
        )
    limit.check(key, given)
    return float(given)
