"""Entries of a visit as a tablet sends them."""

from datetime import datetime
from typing import Any

from django.utils import timezone


def ms(moment: datetime) -> float:
    """As a right clock of a tablet shows it."""
    return moment.timestamp() * 1000.0


def entry(name: str, kind: str, *, ago_s: float = 0.0, off_s: float = 0.0, **said: Any) -> dict[str, Any]:
    """An entry written so many seconds ago on a tablet whose clock is wrong by so many."""
    wrote = ms(timezone.now()) + 1000.0 * (off_s - ago_s)
    return {
        "id": f"entry-{name}".ljust(8, "-"),
        "wrote_ms": wrote,
        "offset_ms": -1000.0 * off_s,
        "event": {"kind": kind, **said},
    }


def sending(*entries: dict[str, Any], off_s: float = 0.0) -> dict[str, Any]:
    """A sending of such a tablet."""
    return {"sent_ms": ms(timezone.now()) + 1000.0 * off_s, "entries": list(entries)}
