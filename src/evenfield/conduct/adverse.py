"""Unwanted events: terms and grades of a public scale in our own words, and a local redness scale.

Severity (the grade) is not seriousness (what must be reported): the two are kept apart.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from evenfield.conduct.data_file import DataEntry, shipped_text
from evenfield.conduct.profile import Label

Grade = Annotated[int, Field(ge=1, le=5)]


class AdverseEventError(ValueError):
    """A grading that cannot be taken; one sentence: what, where, what is allowed."""


class Term(DataEntry):
    """A term and the grades it has; a term may lack some."""

    id: str = Field(min_length=1)
    name: str = Field(min_length=1)
    needs_words: bool = False
    grades: dict[Grade, str] = Field(min_length=1)


class Redness(DataEntry):
    """The local redness scale, 0 to 4."""

    name: str
    source: str
    label: Label
    steps: tuple[str, str, str, str, str]

    @model_validator(mode="before")
    @classmethod
    def _gather(cls, data: Any) -> Any:
        steps = tuple(data[str(step)] for step in range(5))
        return {**{key: value for key, value in data.items() if not key.isdigit()}, "steps": steps}


class AdverseEvents(DataEntry):
    """The terms with the scale and edition they come from."""

    scale: str
    scale_version: str
    source: str
    label: Label
    term: tuple[Term, ...]
    redness: Redness

    @model_validator(mode="after")
    def _own_ids(self) -> Self:
        ids = [term.id for term in self.term]
        if len(ids) != len(set(ids)):
            raise ValueError("two terms have one id: give each its own")
        return self


@dataclass(frozen=True)
class Graded:
    """An event graded: what is stored with it, scale and version included."""

    term: str
    name: str
    grade: Grade
    meaning: str
    words: str
    severity: Literal["mild", "moderate", "severe"]
    scale: str
    scale_version: str


@cache
def default_adverse_events() -> AdverseEvents:
    """The shipped terms."""
    return AdverseEvents.model_validate(tomllib.loads(shipped_text("adverse_events.toml")))


def severity(grade: Grade) -> Literal["mild", "moderate", "severe"]:
    """Grade 1 is mild, 2 moderate, 3 to 5 severe (a convention of ours, for exchange)."""
    return "mild" if grade == 1 else "moderate" if grade == 2 else "severe"


def grade_event(term_id: str, grade: int, words: str = "", terms: AdverseEvents | None = None) -> Graded:
    """A graded event.

    Raises `AdverseEventError` for an unknown term, a grade the term lacks, or missing words.
    """
    scale = terms or default_adverse_events()
    term = next((term for term in scale.term if term.id == term_id), None)
    if term is None:
        raise AdverseEventError(f"term {term_id!r}: allowed are {', '.join(term.id for term in scale.term)}")
    if grade not in term.grades:
        allowed = ", ".join(str(has) for has in term.grades)
        edition = f"{scale.scale} {scale.scale_version}"
        raise AdverseEventError(f"{term.name} has no grade {grade} in {edition}: allowed {allowed}")
    if term.needs_words and not words.strip():
        raise AdverseEventError(f"{term.name}: say in words what it is")
    return Graded(
        term=term.id,
        name=term.name,
        grade=grade,
        meaning=term.grades[grade],
        words=words,
        severity=severity(grade),
        scale=scale.scale,
        scale_version=scale.scale_version,
    )
