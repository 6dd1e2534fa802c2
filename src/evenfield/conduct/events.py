"""What is entered during a visit: frozen events, each with its own id and time.

Times are seconds from the visit's stored origin (any fixed instant the record keeps; set-up may lie before
the start). An event carries ``at_s``, when it happened by the tablet that wrote it, and optionally
``received_s``, when the record learned of it. Prompts use an event from ``received_s`` on, so that a replay
shows what could be known at each moment; an event dated after it was received counts from its receipt.

Comfort is a score from 0 (cannot be borne) to 10 (fully comfortable). Pain is told as a `Sensation`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from enum import StrEnum
from typing import Annotated, Any, ClassVar, Literal

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError

RegionKind = Literal["abdomen", "flank", "thigh", "above_knee", "upper_arm", "calf"]

_Word = Annotated[str, Field(min_length=1, max_length=200)]
_Text = Annotated[str, Field(max_length=4000)]


class EventError(ValueError):
    """An event that cannot be taken; the message says which field, what it was and what is allowed."""


class Side(StrEnum):
    """Which side of a panel. The rising sides are those of increasing angle and of increasing level."""

    WHOLE = "whole"
    RISING_ANGLE = "rising_angle"
    FALLING_ANGLE = "falling_angle"
    RISING_LEVEL = "rising_level"
    FALLING_LEVEL = "falling_level"


class Feeling(StrEnum):
    """What the person says it feels like."""

    EVEN_WARMTH = "even_warmth"
    UNEVEN_WARMTH = "uneven_warmth"
    NO_WARMTH = "no_warmth"
    HOT = "hot"
    STINGING = "stinging"
    ACHE = "ache"
    PAIN = "pain"
    NUMBNESS = "numbness"
    UNWELL = "unwell"


class Answer(StrEnum):
    """How the operator answers a prompt."""

    DONE = "done"
    NOT_NOW = "not_now"


@dataclass(frozen=True, kw_only=True)
class _Event:
    """Common part: ``id`` unique in the visit, ``at_s`` when it happened, ``received_s`` when learned."""

    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid", allow_inf_nan=False)

    id: _Word
    at_s: float
    received_s: float | None = None

    def __post_init__(self) -> None:
        if not self.id:
            raise EventError("event id is empty: give each event its own id")
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, float) and not math.isfinite(value):
                raise EventError(f"event {self.id!r}: {field.name} is {value}: give a finite number")

    @property
    def known_s(self) -> float:
        """When the record learned of it, s."""
        return self.at_s if self.received_s is None else self.received_s

    @property
    def when_s(self) -> float:
        """When it counts as having happened, s: never later than it was known."""
        return min(self.at_s, self.known_s)


@dataclass(frozen=True, kw_only=True)
class Planned(_Event):
    """What the visit sets out to do. The latest one counts; without it the profile's figures stand.

    ``band_c``: the plan's band for fat, °C; ``gaps_mm``: each panel's gap as planned.
    """

    region: RegionKind
    planned_minutes: Annotated[float, Field(gt=0, le=240)] | None = None
    starting_power_w: Annotated[float, Field(gt=0, le=2000)] | None = None
    band_c: tuple[float, float] | None = None
    gaps_mm: tuple[tuple[_Word, Annotated[float, Field(gt=0, le=500)]], ...] = ()
    kind: Literal["planned"] = "planned"


@dataclass(frozen=True, kw_only=True)
class Started(_Event):
    """The field is on for the first time."""

    kind: Literal["started"] = "started"


@dataclass(frozen=True, kw_only=True)
class PowerSet(_Event):
    """Set power as the device shows it, W."""

    watts: Annotated[float, Field(ge=0, le=2000)]
    kind: Literal["power_set"] = "power_set"


@dataclass(frozen=True, kw_only=True)
class PowerWouldNotRise(_Event):
    """The device was asked for more power and did not give it."""

    kind: Literal["power_would_not_rise"] = "power_would_not_rise"


@dataclass(frozen=True, kw_only=True)
class TuningShown(_Event):
    """Tuning as the device shows it, % of set power let through."""

    percent: Annotated[float, Field(ge=0, le=100)]
    kind: Literal["tuning_shown"] = "tuning_shown"


@dataclass(frozen=True, kw_only=True)
class SkinReading(_Event):
    """A skin temperature, °C, read in a zone; ``error_c`` is the thermometer's own standard error, K."""

    zone: _Word
    celsius: Annotated[float, Field(ge=10, le=60)]
    error_c: Annotated[float, Field(gt=0, le=10)] | None = None
    kind: Literal["skin_reading"] = "skin_reading"


@dataclass(frozen=True, kw_only=True)
class Comfort(_Event):
    """Comfort from 0 (cannot be borne) to 10 (fully comfortable)."""

    score: Annotated[int, Field(ge=0, le=10)]
    kind: Literal["comfort"] = "comfort"


@dataclass(frozen=True, kw_only=True)
class Sensation(_Event):
    """What it feels like; ``words`` keeps the person's own."""

    feeling: Feeling
    words: _Text = ""
    kind: Literal["sensation"] = "sensation"


@dataclass(frozen=True, kw_only=True)
class HotSpot(_Event):
    """A place felt hotter than its surroundings. Fields left out are unknown."""

    panel: _Word | None = None
    side: Side | None = None
    zone: _Word | None = None
    kind: Literal["hot_spot"] = "hot_spot"


@dataclass(frozen=True, kw_only=True)
class HotSpotGone(_Event):
    """Hot spots at this place are gone; fields left out mean any, so that all left out means all."""

    panel: _Word | None = None
    side: Side | None = None
    zone: _Word | None = None
    kind: Literal["hot_spot_gone"] = "hot_spot_gone"


@dataclass(frozen=True, kw_only=True)
class TooHotAllOver(_Event):
    """The person finds it too hot everywhere."""

    kind: Literal["too_hot_all_over"] = "too_hot_all_over"


@dataclass(frozen=True, kw_only=True)
class PanelMoved(_Event):
    """A panel or one side of it was moved by ``by_mm``: positive away from the skin, negative towards it."""

    panel: _Word
    by_mm: Annotated[float, Field(ge=-200, le=200)]
    side: Side = Side.WHOLE
    kind: Literal["panel_moved"] = "panel_moved"


@dataclass(frozen=True, kw_only=True)
class Paused(_Event):
    """The field is off for a while."""

    kind: Literal["paused"] = "paused"


@dataclass(frozen=True, kw_only=True)
class Resumed(_Event):
    """The field is on again."""

    kind: Literal["resumed"] = "resumed"


@dataclass(frozen=True, kw_only=True)
class Stopped(_Event):
    """The field is off for good. A stop entered by mistake is taken back by a `Correction`."""

    kind: Literal["stopped"] = "stopped"


@dataclass(frozen=True, kw_only=True)
class Noted(_Event):
    """Free words."""

    text: _Text
    kind: Literal["noted"] = "noted"


@dataclass(frozen=True, kw_only=True)
class PromptAnswered(_Event):
    """The operator's answer to a prompt; "not now" needs a reason at the door."""

    prompt: Annotated[str, Field(min_length=1, max_length=600)]
    answer: Answer
    reason: _Text = ""
    kind: Literal["prompt_answered"] = "prompt_answered"


@dataclass(frozen=True, kw_only=True)
class SkinLooked(_Event):
    """The skin was looked at: local redness 0-4 (see `conduct.adverse`); whether blistered or broken."""

    redness: Annotated[int, Field(ge=0, le=4)]
    broken: bool = False
    words: _Text = ""
    kind: Literal["skin_looked"] = "skin_looked"


Fact = (
    Planned
    | Started
    | PowerSet
    | PowerWouldNotRise
    | TuningShown
    | SkinReading
    | Comfort
    | Sensation
    | HotSpot
    | HotSpotGone
    | TooHotAllOver
    | PanelMoved
    | Paused
    | Resumed
    | Stopped
    | Noted
    | PromptAnswered
    | SkinLooked
)


@dataclass(frozen=True, kw_only=True)
class Correction(_Event):
    """Puts ``replacement`` in the place of the earlier event ``of``, or takes it back if there is none.

    The event keeps the id of the one corrected, so that prompts answered for it stay answered. A correction
    can itself be corrected. Nothing is lost: both stay in the record.
    """

    of: _Word
    replacement: Annotated[Fact, Field(discriminator="kind")] | None = None
    kind: Literal["correction"] = "correction"


Event = Fact | Correction

_DOOR: TypeAdapter[Event] = TypeAdapter(Annotated[Event, Field(discriminator="kind")])


def event_from_mapping(data: Mapping[str, Any]) -> Event:
    """The event a stored or sent mapping describes.

    Raises `EventError` with one sentence naming the field, its value and what is allowed.
    """
    try:
        event = _DOOR.validate_python(dict(data))
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "event"
        raise EventError(f"{where} = {first['input']!r}: {first['msg']}") from None
    for fact in (event, event.replacement) if isinstance(event, Correction) else (event,):
        if isinstance(fact, PromptAnswered) and fact.answer is Answer.NOT_NOW and not fact.reason.strip():
            raise EventError("prompt_answered.reason is empty: 'not now' needs a reason")
    return event


def event_to_mapping(event: Event) -> dict[str, Any]:
    """The plain mapping that `event_from_mapping` reads back to an equal event; ready for JSON."""
    return asdict(event)
