"""Writing down answers, decisions and consents."""

from collections.abc import Mapping

from evenfield.clinic.people.models import Person
from evenfield.clinic.screening.consent import Text
from evenfield.clinic.screening.models import Kind, ScreeningEntry
from evenfield.conduct.screening import Screening, assess


def keep_answers(person: Person, questions: Screening, given: Mapping[str, str]) -> ScreeningEntry:
    """Judge the answers and keep them with the questions as asked, the outcome, its reasons and sources."""
    assessed = assess(given, questions)
    by_id = {question.id: question for question in questions.question}
    content = {
        "version": assessed.version,
        "title": questions.title,
        "questions": [
            {"id": one.id, "ask": one.ask, "given": given[one.id]}
            for one in questions.question
            if one.id in given
        ],
        "outcome": assessed.outcome.value,
        "findings": [
            {
                "id": finding.question,
                "ask": by_id[finding.question].ask,
                "given": finding.given.value if finding.given else "not answered",
                "outcome": finding.outcome.value,
                "reason": finding.reason,
                "source": by_id[finding.question].source,
                "label": by_id[finding.question].label,
            }
            for finding in assessed.findings
        ],
    }
    return ScreeningEntry.keep(Kind.ANSWERS, person.pk, content)


def keep_decision(answers: ScreeningEntry, *, go_on: bool, reason: str) -> ScreeningEntry:
    """Keep what a lead clinician decided about a set of answers."""
    content = {"about": answers.number, "go_on": go_on, "reason": reason}
    return ScreeningEntry.keep(Kind.DECISION, answers.subject_id, content)


def keep_consent(person: Person, text: Text, *, name: str, drawing: str) -> ScreeningEntry:
    """Keep a signature with the whole text that was signed."""
    content = {
        "version": text.version,
        "example": text.example,
        "text": text.text,
        "name": name,
        "drawing": drawing,
    }
    return ScreeningEntry.keep(Kind.CONSENT, person.pk, content)
