"""The set-up checklist: lines as data in working order; all ticked, or skipped with a reason."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from pydantic import Field

from evenfield.conduct.data_file import DataEntry, shipped_text
from evenfield.conduct.profile import Label


class SetupError(ValueError):
    """A tick that cannot be taken; one sentence: what, where, what is allowed."""


class Line(DataEntry):
    """One line of the checklist."""

    id: str = Field(min_length=1)
    text: str = Field(min_length=1)
    why: str = Field(min_length=1)
    source: str = Field(min_length=1)
    label: Label


class Checklist(DataEntry):
    """A version of the checklist; lines in the order the work is done."""

    version: str
    title: str
    line: tuple[Line, ...]


@dataclass(frozen=True)
class Tick:
    """A line done, or skipped with a reason; who and when are kept with the record."""

    line: str
    done: bool
    reason: str = ""


@dataclass(frozen=True)
class Ready:
    """Lines still open and lines skipped (with their reasons), in working order."""

    open: tuple[str, ...]
    skipped: tuple[tuple[str, str], ...]

    @property
    def complete(self) -> bool:
        """Whether nothing is open."""
        return not self.open


@cache
def default_checklist() -> Checklist:
    """The shipped checklist."""
    return Checklist.model_validate(tomllib.loads(shipped_text("setup.toml")))


def check(ticks: Iterable[Tick], checklist: Checklist | None = None) -> Ready:
    """How far the set-up is. The last tick of a line counts.

    Raises `SetupError` for an unknown line and for a line skipped without a reason.
    """
    lines = (checklist or default_checklist()).line
    known = {line.id for line in lines}
    last: dict[str, Tick] = {}
    for tick in ticks:
        if tick.line not in known:
            raise SetupError(f"tick for {tick.line!r}: allowed are {', '.join(line.id for line in lines)}")
        if not tick.done and not tick.reason.strip():
            raise SetupError(f"line {tick.line!r} is skipped without a reason: give one")
        last[tick.line] = tick
    return Ready(
        open=tuple(line.id for line in lines if line.id not in last),
        skipped=tuple(
            (line.id, last[line.id].reason) for line in lines if line.id in last and not last[line.id].done
        ),
    )
