"""What a thermometer tells, and the one adapter through which every kind of thermometer tells it."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import AsyncGenerator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum
from typing import Protocol

WITH_ARRIVAL = timedelta(seconds=60)
"""A thermometer's own time this near to the arrival says that the reading was made just now."""


class NoReadingError(ValueError):
    """What came is no reading to enter; the message is one clear sentence."""


class FeedError(Exception):
    """A source that cannot be used at all; the message is one clear sentence."""


def plain(error: BaseException) -> str:
    """A library's words as the end of a sentence."""
    return (" ".join(str(error).split()) or type(error).__name__).rstrip(".") + "."


class Degrees(Enum):
    """The unit a temperature was told in; the value is its UCUM code."""

    CELSIUS = "Cel"
    FAHRENHEIT = "[degF]"

    def to_celsius(self, told: float) -> float:
        """°C: (F − 32) · 5/9 by the definition of the degree Fahrenheit (NIST SP 811, appendix B.9)."""
        return told if self is Degrees.CELSIUS else (told - 32.0) * 5.0 / 9.0


@dataclass(frozen=True)
class SpotReading:
    """One temperature told by a thermometer.

    `stamp` is the thermometer's own time (without zone: this computer's), None if it told none. `same`
    identifies the reading where being told twice must not count twice; "" where every telling is a new
    reading. `zone` is given by files only.
    """

    celsius: float
    stamp: datetime | None = None
    same: str = ""
    zone: str = ""


@dataclass(frozen=True)
class FeedRemark:
    """Something to say about the source: connected, lost, a message that is no reading; one sentence."""

    words: str


class Feed(Protocol):
    """A source of readings: the adapter. A new kind of thermometer is a new class with these two members."""

    @property
    def name(self) -> str:
        """What the source is called, the same at every start: part of what makes a reading the same."""

    def told(self) -> AsyncGenerator[SpotReading | FeedRemark, None]:
        """Everything the source tells, until it ends or the task is cancelled.

        A source that is lost says so in a `FeedRemark` and is sought again; so does what is no reading.
        """


def reading_id(visit: int, source: str, same: str) -> str:
    """The id under which a reading is kept: made from what identifies it, or by chance if `same` is ""."""
    if not same:
        return secrets.token_hex(16)
    return hashlib.sha256(f"{visit}\n{source}\n{same}".encode()).hexdigest()[:32]


def made_at(reading: SpotReading, arrived: datetime, *, trust_stamp: bool) -> datetime:
    """When a reading counts as made, given when it arrived (with zone).

    Without a stamp, or with one near the arrival: when it arrived. A stamp far from it means that the
    thermometer kept the reading for a while, or that its clock is wrong; nothing in the message tells which.
    With `trust_stamp` the person vouches for the clock and the stamp counts; else `NoReadingError`.
    """
    if reading.stamp is None:
        return arrived
    stamp = reading.stamp if reading.stamp.tzinfo else reading.stamp.astimezone()
    ahead = stamp - arrived
    if abs(ahead) <= WITH_ARRIVAL:
        return min(stamp, arrived) if trust_stamp else arrived
    if ahead > timedelta(0):
        raise NoReadingError(f"Not taken: by its own time, {reading.stamp}, this reading is yet to be made.")
    if not trust_stamp:
        raise NoReadingError(
            f"Not taken: by its own time this reading was made at {reading.stamp}; either it was kept since "
            "then or the thermometer's clock is wrong (--trust-clock takes such readings at their own time)."
        )
    return stamp
