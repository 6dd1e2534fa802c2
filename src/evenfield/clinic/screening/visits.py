"""Whether screening and consent are there for a visit."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from django.urls import reverse
from django.utils import timezone

from evenfield.clinic.courses.models import Visit
from evenfield.clinic.parts import VisitNeed
from evenfield.clinic.people.models import Person
from evenfield.clinic.screening.models import Kind, ScreeningEntry
from evenfield.clinic.screening.standing import Standing, standing_of
from evenfield.conduct.screening import Outcome

_TODAY = {
    None: "not asked",
    Outcome.REFUSE: "no visit",
    Outcome.ASK: "ask the clinician first",
    Outcome.GO_ON: "nothing answered speaks against going on",
}


def needs(people: Sequence[Person], visits: Sequence[Visit]) -> Mapping[int, Sequence[VisitNeed]]:
    """Screening and consent for each of these visits of one person."""
    now = standing_of(people)
    address = reverse("screening", kwargs={"code": people[0].code})
    asked = {_day(one) for one in now.entries if one.kind == Kind.ANSWERS}
    signed = [(_day(one), one.kind) for one in now.entries if one.kind in (Kind.CONSENT, Kind.WITHDRAWAL)]
    return {visit.pk: list(_for(visit, now, address, asked, signed)) for visit in visits}


def _for(
    visit: Visit, now: Standing, address: str, asked: set[date], consents: Sequence[tuple[date, str]]
) -> Iterator[VisitNeed]:
    day, begun = visit.day, visit.started_at is not None
    if day == now.today and not begun:
        met = now.asked_anew and now.outcome is Outcome.GO_ON
        words = _TODAY[now.outcome]
        if not now.asked_anew and now.outcome is not Outcome.REFUSE:
            words = "not asked anew since the last visit" if now.asked_today else "not asked today"
        if met and now.lifted:
            words = "held back by the answers, let go on by a lead clinician"
    elif day > now.today:
        met, words = False, "a refusal stands" if now.outcome is Outcome.REFUSE else "on the day itself"
    else:
        met = day in asked
        words = "asked on that day" if met else "not asked on that day"
    yield VisitNeed("screening", met, words, address)
    if day >= now.today:
        signed = now.consent is not None
        words = (
            "signed" if signed else "signed under an earlier text" if now.earlier_consent else "not signed"
        )
    else:
        until = next((kind for signed_on, kind in consents if signed_on <= day), None)
        signed = until == Kind.CONSENT
        words = "signed" if signed else "not signed by then"
    yield VisitNeed("consent", signed, words, address)


def _day(entry: ScreeningEntry) -> date:
    return timezone.localtime(entry.at).date()
