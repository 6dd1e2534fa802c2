"""The times of what a demonstration invents: its entries bear the past in which they are set.

The trail says truly when each of them was written. Nobody else can keep an entry under another time than now.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime

from evenfield.clinic.audit.actor import Actor, present_actor

DEMONSTRATION = Actor("demonstration")

_moment: ContextVar[datetime | None] = ContextVar("evenfield_invented_moment", default=None)


class InventedTimeError(RuntimeError):
    """A time was to be invented outside a demonstration."""


@contextmanager
def invented_at(moment: datetime) -> Iterator[None]:
    """Entries kept inside bear this moment. Raises InventedTimeError unless the demonstration acts."""
    if present_actor() != DEMONSTRATION:
        raise InventedTimeError("Only the demonstration may keep entries under another time than now.")
    token = _moment.set(moment)
    try:
        yield
    finally:
        _moment.reset(token)


def invented_moment() -> datetime | None:
    """The moment that entries of the demonstration bear; None for everyone else, whose time is now."""
    return _moment.get() if present_actor() == DEMONSTRATION else None
