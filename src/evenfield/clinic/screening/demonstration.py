"""Invented answers of the invented clients."""

from evenfield.clinic.people.models import Person
from evenfield.clinic.screening.consent import present_text
from evenfield.clinic.screening.recording import keep_answers, keep_consent
from evenfield.conduct.screening import default_screening

# By family name: the answers that differ from the good ones.
_ANSWERS: dict[str, dict[str, str]] = {
    "Holvat": {},
    "Okkerveen": {},
    "Quist": {"changed": "yes", "skin_today": "not known"},
    "Mendelow": {"fever": "yes"},
}


def make_screenings() -> None:
    """Answers for four of them, and their consent to the example text."""
    questions = default_screening()
    for family, differing in _ANSWERS.items():
        person = Person.objects.get(family_name=family)
        given = {question.id: question.good.value for question in questions.question} | differing
        keep_answers(person, questions, given)
        keep_consent(person, present_text(), name=person.full_name, drawing="")
