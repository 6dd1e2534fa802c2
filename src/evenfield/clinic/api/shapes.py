"""What goes in and out of the API, as data; nothing unknown is taken."""

from datetime import date, datetime
from typing import Annotated, Any, Generic, Literal, TypeVar

from django.utils import timezone
from ninja import Schema
from pydantic import AfterValidator, AwareDatetime, ConfigDict, Field

from evenfield.body import RegionKind
from evenfield.clinic.measuring.protocols import Quantity


def _sound(text: str) -> str:
    """No NUL and no lone surrogates: neither can be stored."""
    if "\0" in text or any("\ud800" <= sign <= "\udfff" for sign in text):
        raise ValueError("this text holds signs that cannot be stored")
    return text


def _in_reach(at: datetime) -> datetime:
    if not 2000 <= at.year <= 2200:
        raise ValueError("a time lies between the years 2000 and 2200")
    return timezone.localtime(at)


Line = Annotated[str, Field(max_length=200), AfterValidator(_sound)]
Passage = Annotated[str, Field(max_length=5000), AfterValidator(_sound)]
Moment = Annotated[AwareDatetime, AfterValidator(_in_reach)]
Level = Annotated[float, Field(ge=-400, le=400, allow_inf_nan=False)]
Reading = Annotated[float, Field(gt=0, lt=10_000, allow_inf_nan=False)]
Side = Literal["", "left", "right"]
ClockMs = Annotated[float, Field(ge=-1e14, le=1e14, allow_inf_nan=False)]


class Asked(Schema):
    """What a program sends."""

    model_config = ConfigDict(extra="forbid")


MOST_AT_ONCE = 500
Limit = Annotated[int, Field(ge=1, le=MOST_AT_ONCE, description=f"How many, at most {MOST_AT_ONCE}.")]
Offset = Annotated[int, Field(ge=0, le=10_000_000, description="How many to leave out before them.")]
Item = TypeVar("Item")


class Listed(Schema, Generic[Item]):
    """A part of a list: its items, how many there are in all, and which part was asked for."""

    items: list[Item]
    total: int
    offset: int
    limit: int


class Problem(Schema):
    """Why something was not done, in one sentence, and the single faults if there are several."""

    detail: str
    problems: list[str] = Field(default_factory=list)


class PersonOut(Schema):
    """Who someone is and how to reach them."""

    code: str
    given_name: str
    family_name: str
    other_names: str
    born: date | None
    phone: str
    email: str
    note: str
    active: bool


class FoundOut(Schema):
    """Someone found, and why if it is not plain."""

    person: PersonOut
    why: str


class Doubles(Problem):
    """People who may be the one that was to be added."""

    alike: list[FoundOut]


class FindIn(Asked):
    """What is sought: part of a name, a code, a date of birth. In the body, so that no address holds it."""

    text: Line
    with_inactive: bool = False


class PersonIn(Asked):
    """A new person; `really` adds them although someone like them is here."""

    given_name: Line = ""
    family_name: Line = ""
    born: date
    other_names: Line = ""
    phone: Line = ""
    email: Line = ""
    note: Passage = ""
    really: bool = False


class NumberOut(Schema):
    """One number measured, in SI (m or kg), with what it was measured by."""

    set: int
    key: str
    measured_at: datetime
    quantity: Quantity
    region: RegionKind | None
    side: str
    level_mm: float | None
    direction: str
    protocol: str
    protocol_version: str
    readings: list[float]
    value: float
    how: str
    agreed: bool
    corrected: bool
    withdrawn: bool
    taken_in: bool


class ReadingsIn(Asked):
    """Readings of one place in the unit of the set; `why` confirms those that look like a slip."""

    key: Annotated[str, Field(pattern=r"^[a-z0-9_.-]{1,40}$")]
    readings: Annotated[list[Reading], Field(min_length=1, max_length=6)]
    why: Line = ""


class SetIn(Asked):
    """One set of measurements. Fat is in mm always; `unit` is that of girths, "in" means pounds too.

    `id` is chosen by the sender: the same set sent twice is kept once.
    """

    id: Annotated[str, Field(pattern=r"^[A-Za-z0-9-]{8,60}$")]
    region: RegionKind | None = None
    side: Side = ""
    girth: Line = ""
    levels_mm: list[Level] = Field(default_factory=list, max_length=6)
    fat: Line = ""
    fat_levels_mm: list[Level] = Field(default_factory=list, max_length=6)
    weight: bool = False
    unit: Literal["cm", "in"] = "cm"
    values: Annotated[list[ReadingsIn], Field(min_length=1, max_length=40)]
    why: Line = ""
    note: Line = ""


class Question(Schema):
    """A place that is wrong or looks like a slip, and the slips that would explain it."""

    key: str
    reading: int
    words: str
    likely: list[str]


class Questions(Problem):
    """What must be answered, with `why`, or read again."""

    questions: list[Question]


class SetOut(Schema):
    """The number of the set kept."""

    set: int


class VisitOut(Schema):
    """One visit."""

    id: int
    course: int
    person: str
    number: int
    planned_start: datetime
    minutes: int
    room: str
    device: str
    staff: str
    state: str
    reason: str
    started_at: datetime | None
    ended_at: datetime | None


class LiveOut(Schema):
    """A visit's state, when it began and ended, and the zones in which skin is read."""

    visit: int
    state: str
    started_at: datetime | None
    ended_at: datetime | None
    zones: list[str]


class ZoneReadingIn(Asked):
    """A skin reading, °C, with the thermometer's standard error, K.

    `id` is chosen by the sender: the same reading sent twice is kept once. `wrote_ms` is the sender's clock
    when it was read; `offset_ms` how far the sender then believed the server's clock to be ahead.
    """

    id: Annotated[str, Field(pattern=r"^[A-Za-z0-9-]{8,40}$")]
    wrote_ms: ClockMs
    offset_ms: ClockMs | None = None
    zone: Line
    celsius: Annotated[float, Field(ge=-100, le=1000, allow_inf_nan=False)]
    error_k: Annotated[float, Field(gt=0, le=10, allow_inf_nan=False)]


class ZoneReadingsIn(Asked):
    """Skin readings, and the sender's clock when it sent them."""

    sent_ms: ClockMs
    readings: Annotated[list[ZoneReadingIn], Field(min_length=1, max_length=50)]


class ReadingAnswer(Schema):
    """What became of one reading: its number in the record, or why it was refused."""

    id: str
    kept: bool
    number: int | None
    refused: str


class CourseOut(Schema):
    """One course with its visits in order of time."""

    id: int
    person: str
    region: RegionKind
    side: str
    visits_planned: int
    spacing_days: int
    aim: str
    protocol_note: str
    state: str
    visits: list[VisitOut]


class SlotIn(Asked):
    """When a visit is and what it takes up; room, device and staff by their numbers."""

    start: Moment
    minutes: Annotated[int, Field(ge=5, le=480)]
    room: int | None = None
    device: int | None = None
    staff: int | None = None


class CourseIn(Asked):
    """A course and its first visit; the others follow with the spacing. `confirm` answers warnings."""

    region: RegionKind
    side: Side = ""
    visits_planned: Annotated[int, Field(ge=1, le=40)]
    spacing_days: Annotated[int, Field(ge=1, le=180)]
    aim: Passage = ""
    protocol_note: Passage = ""
    first: SlotIn
    confirm: Line = ""


class VisitIn(Asked):
    """One more visit of a course."""

    slot: SlotIn
    confirm: Line = ""


class Warned(Problem):
    """What speaks against the times; sent again with `confirm` it is booked all the same."""

    confirm: str


def as_person(person: Any) -> PersonOut:
    """A person as sent."""
    return PersonOut(**{name: getattr(person, name) for name in PersonOut.model_fields})
