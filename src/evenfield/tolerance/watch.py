"""What to watch with this client: the errors of the tolerance table that warm the skin most, in words."""

from __future__ import annotations

import re
from dataclasses import dataclass

from evenfield.applicator.words import panel_words
from evenfield.tolerance.table import Effect, ToleranceTable
from evenfield.tolerance.words import kelvin

LEAST_K = 0.3
"""A rise of the hottest skin below this is not worth watching for (label A)."""
_ALIKE = 0.9
"""Panels, or signs of an error, whose rises are this near to the worst are told with it."""


@dataclass(frozen=True)
class Watched:
    """One kind of error: the panels it matters for, and its sizes on the worse side, the smallest first."""

    group: str
    panels: tuple[str, ...]
    either_sign: bool
    sizes: tuple[Effect, ...]


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


def _worst(table: ToleranceTable, effects: list[Effect]) -> Effect:
    return max(effects, key=lambda e: _rise(table, e))


def _watched(table: ToleranceTable, effects: list[Effect]) -> Watched:
    worst = _worst(table, effects)
    near = [e for e in effects if _rise(table, e) >= _ALIKE * _rise(table, worst)]
    panel, sign = worst.variation.panel, worst.variation.short[0]
    side = [e for e in effects if e.variation.panel == panel and e.variation.short[0] == sign]
    return Watched(
        worst.variation.group,
        tuple(dict.fromkeys(e.variation.panel for e in near)),
        any(e.variation.short[0] != sign for e in near if e.variation.panel == panel),
        tuple(sorted(side, key=lambda e: _amount(e.variation.short))),
    )


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
    last = _worst(table, list(one.sizes))
    assert last.outcome is not None
    grades = ", ".join(f"{kelvin(_rise(table, e))} at {_size(e, one.either_sign)}" for e in one.sizes)
    return (
        f"{_subject(one.group, one.panels)}: hottest skin {grades} after 30 min, at the "
        f"{last.outcome.where}; evenness {table.base.evenness:.2f} to {last.outcome.evenness:.2f}."
    )


def _amount(short: str) -> float:
    """-8° is 8; a word is 0."""
    found = re.search(r"[\d.]+", short)
    return float(found[0]) if found else 0.0


def _size(effect: Effect, either_sign: bool) -> str:
    return effect.variation.short.lstrip("+-") if either_sign else effect.variation.short


def _subject(group: str, panels: tuple[str, ...]) -> str:
    named = [p for p in panels if p]
    group = group[:1].upper() + group[1:]
    if any(panel_words(p) == p for p in named):
        return f"{group}, {' or '.join(panel_words(p) for p in named)}"
    return f"{group}, {' or '.join(named)} panel" if named else group


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
