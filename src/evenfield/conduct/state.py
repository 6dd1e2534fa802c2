"""The state of a visit: what the events so far add up to.

`fold` reads the standing events in order. Every event means something in every state, or is remembered as the
last odd one; none raises. The meaning of each event in each state is written in docs/conduct.md.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from types import MappingProxyType

from evenfield.conduct.events import Answer, Feeling, RegionKind, Side


class Phase(StrEnum):
    """Where the visit stands, in plain words."""

    PLANNED = "planned"
    SETTING_UP = "setting up"
    RAISING = "raising"
    HOLDING = "holding"
    NOT_TUNED = "not tuned"
    HOT_SPOT = "answering a hot spot"
    AFTER_HOT_SPOT = "waiting after a hot spot"
    HOT_ALL_OVER = "answering heat all over"
    PAUSED = "paused"
    STOPPED = "stopped"
    CLOSED = "closed"


@dataclass(frozen=True)
class Mark:
    """An event remembered: its id and when it counts, s."""

    id: str
    at_s: float


@dataclass(frozen=True)
class Level(Mark):
    """A number shown at a moment: power in W, tuning in %, comfort 0-10 or skin temperature in °C."""

    value: float


@dataclass(frozen=True)
class Reading(Level):
    """A skin temperature, °C; ``before_s``: when the same zone was read before."""

    before_s: float | None = None


@dataclass(frozen=True)
class Said(Mark):
    """A sensation told."""

    feeling: Feeling


@dataclass(frozen=True)
class Look(Mark):
    """The skin was looked at; ``redness`` is None where only "done" was answered."""

    redness: int | None
    broken: bool


@dataclass(frozen=True)
class Place:
    """Where: any of panel, side and zone may be unknown."""

    panel: str | None = None
    side: Side | None = None
    zone: str | None = None

    def covers(self, other: Place) -> bool:
        """Whether ``other`` lies within this place, unknown parts here meaning any."""
        return (
            self.panel in (None, other.panel)
            and (self.side in (None, Side.WHOLE) or self.side == other.side)
            and self.zone in (None, other.zone)
        )


@dataclass(frozen=True)
class Spot:
    """A hot spot from its first report until it is gone and, if a panel was moved for it, moved back."""

    place: Place
    reports: tuple[Mark, ...]
    moved: Mark | None = None
    moved_mm: float = 0.0
    moved_panel: str | None = None
    moved_side: Side | None = None
    gone: Mark | None = None

    @property
    def first(self) -> Mark:
        """The first report."""
        return self.reports[0]

    @property
    def last(self) -> Mark:
        """The latest report."""
        return self.reports[-1]


@dataclass(frozen=True)
class AllOver:
    """Heat all over from its first report until the person is comfortable again."""

    reports: tuple[Mark, ...]
    acted: Mark | None = None

    @property
    def last(self) -> Mark:
        """The latest report."""
        return self.reports[-1]


@dataclass(frozen=True)
class Gap:
    """A panel's distance from the skin by the plan's gap and the moves entered since, mm."""

    planned_mm: float
    whole_mm: float = 0.0
    sides_mm: Mapping[Side, float] = field(default_factory=lambda: MappingProxyType({}))
    closer: Mark | None = None

    @property
    def least_mm(self) -> float:
        """At the side that was moved closest; a side's move leaves the opposite side where it was."""
        return self.planned_mm + self.whole_mm + min([0.0, *self.sides_mm.values()])

    def moved(self, side: Side, by_mm: float, mark: Mark) -> Gap:
        """After one more move; ``closer`` is the last one towards the skin."""
        closer = mark if by_mm < 0 else self.closer
        if side is Side.WHOLE:
            return replace(self, whole_mm=self.whole_mm + by_mm, closer=closer)
        sides = {**self.sides_mm, side: self.sides_mm.get(side, 0.0) + by_mm}
        return replace(self, sides_mm=MappingProxyType(sides), closer=closer)


@dataclass(frozen=True)
class Odd(Mark):
    """An entry that does not fit the state it met, and the sentence that says so."""

    sentence: str


@dataclass(frozen=True)
class Reply(Mark):
    """An answer to a prompt."""

    prompt: str
    answer: Answer


@dataclass(frozen=True)
class State:
    """What is known about a visit at a moment. Built by `evenfield.conduct.fold.fold`."""

    begun: Mark | None = None
    planned: Mark | None = None
    region: RegionKind | None = None
    session_s: float = 0.0
    target_w: float = 0.0
    band_c: tuple[float, float] | None = None

    started: Mark | None = None
    stopped: Mark | None = None
    paused: Mark | None = None
    resumed: Mark | None = None
    heated_s: float = 0.0
    on_since_s: float | None = None

    power: Level | None = None
    last_raise: Mark | None = None
    raised_from: Level | None = None
    last_lower: Mark | None = None
    reached: Mark | None = None
    even_from: Mark | None = None
    even_before: Mark | None = None

    tuning: Level | None = None
    tuning_due: Mark | None = None
    refusals: tuple[Mark, ...] = ()
    waited: bool = False

    spots: tuple[Spot, ...] = ()
    all_over: AllOver | None = None
    comfort: Level | None = None
    sensation: Said | None = None
    gaps: Mapping[str, Gap] = field(default_factory=lambda: MappingProxyType({}))
    readings: Mapping[str, Reading] = field(default_factory=lambda: MappingProxyType({}))
    look: Look | None = None
    panels_seen: Mark | None = None

    last_change: Mark | None = None
    last_relief: Mark | None = None
    replies: tuple[Reply, ...] = ()
    odd: Odd | None = None

    @property
    def field_on(self) -> bool:
        """Whether the record says that the field is on."""
        return self.started is not None and self.paused is None and self.stopped is None

    @property
    def power_w(self) -> float:
        """Last set power, W; 0 before any."""
        return 0.0 if self.power is None else self.power.value

    @property
    def open_spots(self) -> tuple[Spot, ...]:
        """Hot spots not said to be gone."""
        return tuple(spot for spot in self.spots if spot.gone is None)

    def phase(self, tuning_least_percent: float) -> Phase:
        """Where the visit stands. When several hold, the one that needs the operator first."""
        if self.stopped is not None:
            looked = self.look is not None and self.look.at_s >= self.stopped.at_s
            return Phase.CLOSED if self.started is None or looked else Phase.STOPPED
        if self.started is None:
            return Phase.PLANNED if self.begun is None else Phase.SETTING_UP
        if self.paused is not None:
            return Phase.PAUSED
        if self.open_spots:
            return Phase.HOT_SPOT
        if self.all_over is not None:
            return Phase.HOT_ALL_OVER
        if self.refusals or (self.tuning is not None and self.tuning.value < tuning_least_percent):
            return Phase.NOT_TUNED
        if self.spots:
            return Phase.AFTER_HOT_SPOT
        return Phase.RAISING if self.reached is None else Phase.HOLDING


def latest(marks: Iterable[Mark | None]) -> Mark | None:
    """The latest of the marks that are there."""
    there = [mark for mark in marks if mark is not None]
    return max(there, key=lambda mark: (mark.at_s, mark.id), default=None)
