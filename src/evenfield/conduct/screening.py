"""Screening before a visit: questions as data, and the outcome that answers lead to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Self

from pydantic import Field, model_validator

from evenfield.conduct.data_file import DataEntry, read_data, shipped_text
from evenfield.conduct.profile import Label


class ScreeningError(ValueError):
    """Questions or answers that cannot be used; one sentence: what, where, what is allowed."""


class Outcome(StrEnum):
    """What the answers lead to, from lightest to gravest."""

    GO_ON = "go on"
    ASK = "ask"
    REFUSE = "refuse"


class Given(StrEnum):
    """An answer to a question."""

    YES = "yes"
    NO = "no"
    NOT_KNOWN = "not known"


class Question(DataEntry):
    """One question: the good answer, what another one leads to, and why."""

    id: str = Field(min_length=1)
    ask: str = Field(min_length=1)
    good: Given
    outcome: Outcome
    reason: str = Field(min_length=1)
    source: str = Field(min_length=1)
    label: Label

    @model_validator(mode="after")
    def _can_fail(self) -> Self:
        if self.good is Given.NOT_KNOWN:
            raise ValueError("good is 'not known': allowed yes or no")
        if self.outcome is Outcome.GO_ON:
            raise ValueError("outcome is 'go on': allowed ask or refuse")
        return self


class Screening(DataEntry):
    """A version of the questions."""

    version: str = Field(min_length=1)
    title: str
    overruled_by: str = Field(min_length=1)
    question: tuple[Question, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _own_ids(self) -> Self:
        ids = [question.id for question in self.question]
        if len(ids) != len(set(ids)):
            raise ValueError("two questions have one id: give each its own")
        return self


@dataclass(frozen=True)
class Finding:
    """An answer that does not let the visit simply go on."""

    question: str
    given: Given | None
    outcome: Outcome
    reason: str


@dataclass(frozen=True)
class Assessment:
    """The outcome for one set of answers to one version, and the findings that led to it."""

    version: str
    outcome: Outcome
    findings: tuple[Finding, ...]


def read_screening(text: str, where: str) -> Screening:
    """Questions from TOML text; ``where`` names it in messages. Raises `ScreeningError`."""
    return read_data(Screening, text, what="screening", where=where, refused=ScreeningError)


@cache
def default_screening() -> Screening:
    """The shipped questions."""
    return read_screening(shipped_text("screening.toml"), "default")


def assess(answers: Mapping[str, Given | str], screening: Screening | None = None) -> Assessment:
    """What the answers lead to.

    The gravest finding decides. "Not known" and no answer lead to "ask": never on, and never a refusal that
    nobody grounded. Raises `ScreeningError` for an answer to a question that is not asked, or an answer that
    is none of yes, no, not known.
    """
    asked = screening or default_screening()
    known = {question.id for question in asked.question}
    for question_id in answers:
        if question_id not in known:
            raise ScreeningError(f"answer to {question_id!r}: version {asked.version} does not ask this")
    findings: list[Finding] = []
    for question in asked.question:
        raw = answers.get(question.id)
        try:
            given = None if raw is None else Given(raw)
        except ValueError:
            raise ScreeningError(
                f"answer to {question.id!r} is {raw!r}: allowed yes, no, not known"
            ) from None
        if given is question.good:
            continue
        sure = given in (Given.YES, Given.NO)
        outcome = question.outcome if sure else Outcome.ASK
        reason = (
            question.reason if sure else f"{'Not answered' if given is None else 'Not known'}: {question.ask}"
        )
        findings.append(Finding(question.id, given, outcome, reason))
    found = {finding.outcome for finding in findings}
    outcome = Outcome.REFUSE if Outcome.REFUSE in found else Outcome.ASK if found else Outcome.GO_ON
    return Assessment(asked.version, outcome, tuple(findings))
