"""Results as rows of text, as JSON and as a summary. Drawing them on a screen is the command line's job."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from typing import Any

from evenfield.verify.checks import Check, Kind, Result, Status

COLUMNS = ("check", "expected", "got", "error", "tolerance", "source", "label", "")


def number(value: float) -> str:
    """A number in at most six significant digits; an en dash for nan."""
    return "–" if math.isnan(value) else f"{value:.6g}"


def tolerance_text(check: Check) -> str:
    """The tolerance in words: ± 0.1 °C, ± 1 %, at most, at least."""
    match check.kind:
        case Kind.RELATIVE:
            return f"± {100.0 * check.tolerance:.3g} %"
        case Kind.ABSOLUTE:
            return f"± {check.tolerance:.3g} {check.unit}".rstrip()
        case _:
            return f"{check.kind}" + (f", ± {check.tolerance:.3g}" if check.tolerance else "")


def error_text(result: Result) -> str:
    """The error in the terms of the tolerance."""
    if math.isnan(result.got):
        return "–"
    return f"{100.0 * result.error:+.2g} %" if result.check.kind is Kind.RELATIVE else f"{result.error:+.2g}"


def row(result: Result) -> tuple[str, ...]:
    """One result in the order of COLUMNS."""
    one = result.check
    return (
        f"{one.what} ({one.id})",
        f"{number(one.expected)} {one.unit}".rstrip(),
        number(result.got),
        error_text(result),
        tolerance_text(one),
        one.source,
        one.label.value,
        result.reason if result.status is Status.NOT_RUN else result.status.value,
    )


def summary(results: Iterable[Result]) -> str:
    """One line: how many passed, failed and were not run."""
    count = Counter(result.status for result in results)
    line = f"{count[Status.PASSED]} passed, {count[Status.FAILED]} failed"
    return line + (f", {count[Status.NOT_RUN]} not run" if count[Status.NOT_RUN] else "")


def exit_status(results: Iterable[Result]) -> int:
    """1 if any check failed, else 0. A check that was not run is shown, and is not a failure."""
    return int(any(result.status is Status.FAILED for result in results))


def to_json(results: Iterable[Result]) -> list[dict[str, Any]]:
    """Plain values for JSON; `got` and `error` are None where a check was not run."""
    return [
        {
            "id": r.check.id,
            "subject": r.check.subject.value,
            "check": r.check.what,
            "expected": r.check.expected,
            "got": None if math.isnan(r.got) else r.got,
            "error": None if math.isnan(r.got) else r.error,
            "tolerance": r.check.tolerance,
            "kind": r.check.kind.name.lower(),
            "unit": r.check.unit,
            "source": r.check.source,
            "label": r.check.label.value,
            "status": r.status.name.lower(),
            "seconds": round(r.seconds, 3),
            "reason": r.reason,
        }
        for r in results
    ]
