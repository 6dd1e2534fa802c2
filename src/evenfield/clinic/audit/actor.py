"""Who is acting, from where: every change must be made by someone."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass


@dataclass(frozen=True)
class Actor:
    """The one who acts.

    Attributes:
        account: number of the account, None for the terminal and for people not signed in.
        name: the account's user name, or what acts ("terminal").
        roles: the roles held, comma-separated.
        address: where the request came from.
        device: number of the device session, None outside one.
    """

    name: str
    account: int | None = None
    roles: str = ""
    address: str = ""
    device: int | None = None


class NobodyActingError(RuntimeError):
    """A change was tried without saying who makes it."""


_acting: ContextVar[Actor | None] = ContextVar("evenfield_actor", default=None)


@contextmanager
def acting(actor: Actor) -> Iterator[None]:
    """Everything changed inside is recorded as done by this actor."""
    token = _acting.set(actor)
    try:
        yield
    finally:
        _acting.reset(token)


def present_actor() -> Actor:
    """The actor of this request or command. Raises NobodyActingError if none was named."""
    actor = _acting.get()
    if actor is None:
        raise NobodyActingError("A change needs an actor: wrap it in `with acting(Actor(...))`.")
    return actor
