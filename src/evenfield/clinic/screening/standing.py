"""Where a person stands before a visit: what the entries about them come to.

A refusal stands until a lead clinician lifts it, whatever is answered later: otherwise answering once more
would lift it. Answers hold for the day on which they were given and for one visit: beginning it uses them up.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from evenfield.clinic.courses.visits import last_begun
from evenfield.clinic.people.models import Person
from evenfield.clinic.screening.consent import present_text
from evenfield.clinic.screening.models import Kind, ScreeningEntry
from evenfield.conduct.screening import Outcome


@dataclass(frozen=True)
class Standing:
    """What holds now.

    Attributes:
        entries: everything about the person, newest first.
        answers: the newest answers, None if never asked.
        deciding: the answers whose outcome counts: an earlier refusal that nobody lifted, else the newest.
        decision: a lead clinician's decision about `deciding`.
        outcome: refuse, ask or go on; None if never asked.
        consent: the consent in force, signed under the present text.
        earlier_consent: whether one in force was signed under an earlier text.
        today: the day at the clinic.
        last_begun: when the person's last visit began, None if none was.
    """

    entries: tuple[ScreeningEntry, ...]
    answers: ScreeningEntry | None
    deciding: ScreeningEntry | None
    decision: ScreeningEntry | None
    outcome: Outcome | None
    consent: ScreeningEntry | None
    earlier_consent: bool
    today: date
    last_begun: datetime | None = None

    @property
    def asked_today(self) -> bool:
        """Whether the newest answers are of today."""
        return bool(self.answers and timezone.localtime(self.answers.at).date() == self.today)

    @property
    def used_up(self) -> bool:
        """Whether a visit was begun with the newest answers: for another one it is asked anew."""
        return bool(self.answers and self.last_begun and self.answers.at <= self.last_begun)

    @property
    def asked_anew(self) -> bool:
        """Whether the newest answers hold for a visit that begins now: of today, and not used up."""
        return self.asked_today and not self.used_up

    @property
    def may_go_on(self) -> bool:
        """Whether nothing recorded here holds the visit back: asked anew, go on, consent signed."""
        return self.asked_anew and self.outcome is Outcome.GO_ON and self.consent is not None

    @property
    def lifted(self) -> bool:
        """Whether it goes on only because a lead clinician decided so: the answers hold it back."""
        return bool(self.decision and self.decision.content["go_on"] and self.findings)

    @property
    def findings(self) -> list[dict[str, Any]]:
        """The findings of the deciding answers."""
        return list(self.deciding.content["findings"]) if self.deciding else []

    @property
    def last_given(self) -> dict[str, str]:
        """Answers of last time by question."""
        asked = self.answers.content["questions"] if self.answers else []
        return {one["id"]: one["given"] for one in asked}


def standing(person: Person) -> Standing:
    """Where this person stands, over all records merged into theirs."""
    return standing_of(person.one_person())


def standing_of(people: Sequence[Person]) -> Standing:
    """The same of one person given as the kept record and those merged into it."""
    entries = ScreeningEntry.about([one.pk for one in people])
    answers = [entry for entry in entries if entry.kind == Kind.ANSWERS]
    decided = {
        entry.content["about"]: entry for entry in reversed(entries) if entry.kind == Kind.DECISION
    }  # the newest decision about each set of answers
    refusals = [entry for entry in answers if _refused(entry, decided.get(entry.number))]
    deciding = refusals[0] if refusals else answers[0] if answers else None
    decision = decided.get(deciding.number) if deciding else None
    outcome = None if deciding is None else Outcome(deciding.content["outcome"])
    if decision:
        outcome = Outcome.GO_ON if decision.content["go_on"] else Outcome.REFUSE
    consents = [entry for entry in entries if entry.kind in (Kind.CONSENT, Kind.WITHDRAWAL)]
    given = consents[0] if consents and consents[0].kind == Kind.CONSENT else None
    current = given is not None and given.content["version"] == present_text().version
    return Standing(
        entries=tuple(entries),
        answers=answers[0] if answers else None,
        deciding=deciding,
        decision=decision,
        outcome=outcome,
        consent=given if current else None,
        earlier_consent=given is not None and not current,
        today=timezone.localdate(),
        last_begun=last_begun(people),
    )


def _refused(answers: ScreeningEntry, decision: ScreeningEntry | None) -> bool:
    if decision:
        return not decision.content["go_on"]
    return bool(answers.content["outcome"] == Outcome.REFUSE)
