"""Invented answers of the invented clients."""

from datetime import timedelta

from evenfield.clinic.audit.invented import invented_at
from evenfield.clinic.courses.demonstration import done_visits
from evenfield.clinic.people.models import Person
from evenfield.clinic.screening.consent import present_text
from evenfield.clinic.screening.recording import keep_answers, keep_consent
from evenfield.conduct.screening import default_screening

# By family name: the answers of today that differ from the good ones.
_ANSWERS: dict[str, dict[str, str]] = {
    "Holvat": {},
    "Quist": {"changed": "yes", "skin_today": "not known"},
    "Mendelow": {"fever": "yes"},
}


def make_screenings() -> None:
    """Good answers before every visit that took place, consent before the first one, and the answers of
    today."""
    questions = default_screening()
    good = {question.id: question.good.value for question in questions.question}
    signed = set()
    for visit in done_visits():
        assert visit.started_at
        with invented_at(visit.started_at - timedelta(minutes=25)):
            keep_answers(visit.person, questions, good)
        if visit.person.pk not in signed:
            signed.add(visit.person.pk)
            with invented_at(visit.started_at - timedelta(minutes=20)):
                keep_consent(visit.person, present_text(), name=visit.person.full_name, drawing="")
    for family, differing in _ANSWERS.items():
        keep_answers(Person.objects.get(family_name=family), questions, good | differing)
