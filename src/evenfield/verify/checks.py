"""The registry of outside checks, and the runner.

A check compares one number that evenfield computes with one that stands outside it: a printed table, a worked
example, a closed form, a conservation law, another program. The checks themselves live in the modules of
`evenfield.verify.subjects`, one subject a module; each registers its checks with `@check(...)`.
"""

from __future__ import annotations

import importlib
import pkgutil
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum

from evenfield.tissue import Label


class Kind(StrEnum):
    """How the number got is held against the number expected."""

    ABSOLUTE = "±"
    """|got − expected| ≤ tolerance."""
    RELATIVE = "± of the value"
    """|got − expected| ≤ tolerance · |expected|."""
    AT_MOST = "at most"
    """got ≤ expected + tolerance."""
    AT_LEAST = "at least"
    """got ≥ expected − tolerance."""


class Subject(StrEnum):
    """What a check is about; the order is that of the table."""

    DIELECTRIC = "dielectric"
    THERMAL = "thermal"
    DOSE = "dose"
    FIELD = "field"
    HEAT = "heat"
    OTHER_PROGRAM = "other program"
    PRACTICE = "common practice"
    PEOPLE_NEAR = "people near the field"
    CHANGE = "measuring change"


class Status(StrEnum):
    PASSED = "passed"
    FAILED = "FAILED"
    NOT_RUN = "not run"


class CannotRunError(Exception):
    """Raised by a check whose outside reference is not installed; the message says what to install."""


@dataclass(frozen=True)
class Check:
    """One comparison: what, expected value with unit and tolerance, where it comes from and how sure that is.

    `label` is that of the expected value: P in print, M from memory, C computed from the formula, A ours.
    """

    id: str
    subject: Subject
    what: str
    expected: float
    tolerance: float
    kind: Kind
    unit: str
    source: str
    label: Label
    run: Callable[[], float]


@dataclass(frozen=True)
class Result:
    """Outcome of one check: the number got (nan if not run), how it did, seconds, and why if not run."""

    check: Check
    got: float
    status: Status
    seconds: float
    reason: str = ""

    @property
    def error(self) -> float:
        """got − expected, divided by |expected| for a relative check [unit of the check or 1]."""
        difference = self.got - self.check.expected
        return difference / abs(self.check.expected) if self.check.kind is Kind.RELATIVE else difference


_REGISTRY: dict[str, Check] = {}


def register(new: Check) -> None:
    """Add a check. Raises ValueError if its id is taken or its tolerance is negative."""
    if new.id in _REGISTRY:
        raise ValueError(f"a check with the id {new.id} exists already")
    if not new.tolerance >= 0.0:
        raise ValueError(f"check {new.id} has the tolerance {new.tolerance}: it must not be negative")
    _REGISTRY[new.id] = new


def check(
    id: str,
    subject: Subject,
    what: str,
    *,
    expected: float,
    tolerance: float = 0.0,
    kind: Kind = Kind.ABSOLUTE,
    unit: str = "",
    source: str,
    label: Label,
) -> Callable[[Callable[[], float]], Callable[[], float]]:
    """Register the decorated function, which takes nothing and returns the number got, as a check."""

    def keep(run: Callable[[], float]) -> Callable[[], float]:
        register(Check(id, subject, what, expected, tolerance, kind, unit, source, label, run))
        return run

    return keep


def all_checks() -> list[Check]:
    """Every check, ordered by subject and then as registered."""
    from evenfield.verify import subjects

    for module in pkgutil.iter_modules(subjects.__path__):
        importlib.import_module(f"{subjects.__name__}.{module.name}")
    order = list(Subject)
    return sorted(_REGISTRY.values(), key=lambda one: order.index(one.subject))


def run_check(one: Check) -> Result:
    """Run one check. A check that raises anything but CannotRunError is a defect and is not caught."""
    start = time.perf_counter()
    try:
        got = float(one.run())
    except CannotRunError as missing:
        return Result(one, float("nan"), Status.NOT_RUN, time.perf_counter() - start, str(missing))
    passed = holds(one, got)
    return Result(one, got, Status.PASSED if passed else Status.FAILED, time.perf_counter() - start)


def holds(one: Check, got: float) -> bool:
    """Whether a number meets a check; nan meets none."""
    match one.kind:
        case Kind.ABSOLUTE:
            return abs(got - one.expected) <= one.tolerance
        case Kind.RELATIVE:
            return abs(got - one.expected) <= one.tolerance * abs(one.expected)
        case Kind.AT_MOST:
            return got <= one.expected + one.tolerance
        case Kind.AT_LEAST:
            return got >= one.expected - one.tolerance


def run_checks(
    select: Iterable[str] | None = None, progress: Callable[[Check, int, int], None] | None = None
) -> list[Result]:
    """Run the checks whose id or subject is in `select` (all if None), in order.

    `progress(check, index, count)` is called before each. Raises ValueError for an unknown id or subject.
    """
    chosen = all_checks()
    if select is not None:
        wanted = set(select)
        known = {one.id for one in chosen} | {str(subject) for subject in Subject}
        if unknown := sorted(wanted - known):
            subjects = ", ".join(Subject)
            raise ValueError(f"no check is called {', '.join(unknown)}; subjects are {subjects}")
        chosen = [one for one in chosen if one.id in wanted or one.subject in wanted]
    results = []
    for index, one in enumerate(chosen):
        if progress is not None:
            progress(one, index, len(chosen))
        results.append(run_check(one))
    return results
