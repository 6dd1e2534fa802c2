"""What to watch with this client: the errors of the tolerance table that warm the skin most, in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from evenfield.applicator.words import panel_words
from evenfield.tolerance.table import Effect, ToleranceTable
from evenfield.tolerance.words import kelvin

LEAST_K = 0.3
"""A rise of the hottest skin below this is not worth watching for (label A)."""
_ALIKE, _ALIKE_K = 0.9, 0.1
"""Panels whose worst rise comes so near to the worst of all are told. Two panels, or two signs, are told as
one only where their rises differ at every size by no more than the same part, or by so many kelvins."""


@dataclass(frozen=True)
class Side:
    """The worse sign of an error on some panels: `sizes`, the smallest first, of the first of `panels`.

    Each further panel, and with `either_sign` the other sign, warms the skin as much. `places`: where the
    skin gets hottest at the worst size of each.
    """

    panels: tuple[str, ...]
    either_sign: bool
    sizes: tuple[Effect, ...]
    places: tuple[str, ...]


@dataclass(frozen=True)
class Watched:
    """One kind of error: its worst effect, and the sides that come near to it in the order of the plan."""

    group: str
    worst: Effect
    sides: tuple[Side, ...]


def worst_errors(table: ToleranceTable, count: int = 3) -> tuple[Watched, ...]:
    """The kinds of error that warm the skin most after 30 min, the worst first."""
    kinds: dict[str, list[Effect]] = {}
    for effect in table.effects:
        if effect.outcome is not None:
            kinds.setdefault(effect.variation.group, []).append(effect)
    ranked = sorted(kinds.values(), key=lambda effects: -_rise(table, _worst(table, effects)))
    return tuple(
        _watched(table, effects)
        for effects in ranked[:count]
        if _rise(table, _worst(table, effects)) >= LEAST_K
    )


def _worst(table: ToleranceTable, effects: Iterable[Effect]) -> Effect:
    return max(effects, key=lambda e: _rise(table, e))


def _watched(table: ToleranceTable, effects: list[Effect]) -> Watched:
    worst = _worst(table, effects)
    sides: list[Side] = []
    for panel in dict.fromkeys(e.variation.panel for e in effects):
        side = _side(table, [e for e in effects if e.variation.panel == panel])
        if _rise(table, _worst(table, side.sizes)) < _ALIKE * _rise(table, worst):
            continue
        for n, other in enumerate(sides):
            if _told_as_one(table, side, other):
                places = tuple(dict.fromkeys(other.places + side.places))
                sides[n] = replace(other, panels=(*other.panels, panel), places=places)
                break
        else:
            sides.append(side)
    return Watched(worst.variation.group, worst, tuple(sides))


def _side(table: ToleranceTable, effects: list[Effect]) -> Side:
    """The worse side of one panel's error."""
    runs: dict[bool, list[Effect]] = {}
    for e in sorted(effects, key=lambda e: abs(e.variation.size)):
        runs.setdefault(_sign(e), []).append(e)
    worse, *others = sorted(runs.values(), key=lambda run: -_rise(table, _worst(table, run)))
    either = [run for run in others if _alike(table, run, worse)]
    places = (_worst(table, run).outcome for run in (worse, *either))
    return Side(
        (effects[0].variation.panel,),
        bool(either),
        tuple(worse),
        tuple(dict.fromkeys(o.where for o in places if o is not None)),
    )


def _told_as_one(table: ToleranceTable, side: Side, other: Side) -> bool:
    same = side.either_sign or _sign(side.sizes[0]) == _sign(other.sizes[0])
    return same and side.either_sign == other.either_sign and _alike(table, side.sizes, other.sizes)


def _alike(table: ToleranceTable, some: Iterable[Effect], others: Iterable[Effect]) -> bool:
    """Whether both warm the skin as much at the largest size and at every one that both have."""
    one, other = ({abs(e.variation.size): _rise(table, e) for e in run} for run in (some, others))
    return max(one) == max(other) and all(
        abs(one[size] - other[size]) <= max(_ALIKE_K, (1.0 - _ALIKE) * max(one[size], other[size]))
        for size in one.keys() & other.keys()
    )


def _sign(effect: Effect) -> bool:
    return effect.variation.size > 0


def what_to_watch(table: ToleranceTable, count: int = 3) -> list[str]:
    """One sentence for each of the worst kinds of error, and one for what is not possible."""
    watched = worst_errors(table, count)
    lines = [_sentence(table, one) for one in watched]
    if not watched:
        lines.append(f"None of the usual errors warms the hottest skin by {LEAST_K:g} K or more.")
    if impossible := [e for e in table.effects if e.outcome is None]:
        lines.append(
            "Not possible, a panel would touch the skin or another panel, or leave the region: "
            f"{_listed(impossible)}."
        )
    return lines


def _sentence(table: ToleranceTable, one: Watched) -> str:
    assert one.worst.outcome is not None
    told = []
    for side in one.sides:
        grades = ", ".join(f"{kelvin(_rise(table, e))} at {_size(e, side.either_sign)}" for e in side.sizes)
        subject = _panels(side.panels)
        if side is one.sides[0]:
            group = one.group[:1].upper() + one.group[1:]
            start = f"{group}, {subject}" if subject else group
            told.append(f"{start}: hottest skin {grades} after 30 min, at the {' or the '.join(side.places)}")
        else:
            told.append(f"{subject}: {grades}, at the {' or the '.join(side.places)}")
    return f"{'; '.join(told)}; evenness {table.base.evenness:.2f} to {one.worst.outcome.evenness:.2f}."


def _size(effect: Effect, either_sign: bool) -> str:
    return effect.variation.short.lstrip("+-") if either_sign else effect.variation.short


def _panels(panels: tuple[str, ...]) -> str:
    """left or right panel; panel 1 or panel 2; nothing for the body."""
    named = [p for p in panels if p]
    if any(panel_words(p) == p for p in named):
        return " or ".join(panel_words(p) for p in named)
    return f"{' or '.join(named)} panel" if named else ""


def _listed(effects: list[Effect]) -> str:
    """Errors of one panel together: inner panel shift along -20 mm, +20 mm."""
    grouped: dict[tuple[str, str], list[str]] = {}
    for e in effects:
        grouped.setdefault((e.variation.panel, e.variation.group), []).append(e.variation.short)
    return "; ".join(
        f"{panel_words(panel) + ' ' if panel else ''}{group} {', '.join(sizes)}"
        for (panel, group), sizes in grouped.items()
    )


def _rise(table: ToleranceTable, effect: Effect) -> float:
    return table.change(effect).skin_k[-1]
