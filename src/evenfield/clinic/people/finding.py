"""Finding people by name, code or date of birth, also when there is a slip in it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q

from evenfield.clinic.people.codes import near_codes, read_code
from evenfield.clinic.people.dates import near_dates, take_dates
from evenfield.clinic.people.models import NameTrigram, Person
from evenfield.clinic.people.names import plain, trigrams

LIMIT = 30
_LEAST_SHARED = 0.4  # share of the query's trigrams that a name must have
_CANDIDATES = 150
_SAME = 1.2  # the same date of birth and a like name, or nearly the same date and a very like name


@dataclass(frozen=True)
class Match:
    """A person found, and why it is shown if it is not plain."""

    person: Person
    score: float
    why: str = ""


def find_people(text: str, *, month_first: bool = False, with_inactive: bool = False) -> list[Match]:
    """The best matches, best first, at most `LIMIT`.

    Words that are a date or a code count as such, the rest as name. With several
    of them given, whoever fits more of them comes first.
    """
    dates, name = take_dates(text, month_first=month_first)
    scores: dict[int, float] = defaultdict(float)
    reasons: dict[int, list[str]] = defaultdict(list)
    for born in dates:
        _add_dates(born, scores, reasons)
    code = read_code(name)
    if code:
        _add_codes(code, scores, reasons)
    _add_names(name, scores)
    return _matches(scores, reasons, name, with_inactive=with_inactive)


def likely_same(person: Person) -> list[Match]:
    """People who may be this one entered twice: a like name and the same or nearly the same date of birth.

    Only those born then are compared: a name alone never makes someone likely.
    """
    if person.born is None:
        return []
    scores: dict[int, float] = defaultdict(float)
    reasons: dict[int, list[str]] = defaultdict(list)
    name = f"{person.given_name} {person.family_name}"
    _add_dates(person.born, scores, reasons)
    _add_names(name, scores, among=list(scores))
    found = _matches(scores, reasons, name, with_inactive=True)
    return [match for match in found if match.score >= _SAME and match.person.pk != person.pk]


def _add_dates(born: date, scores: dict[int, float], reasons: dict[int, list[str]]) -> None:
    for number in Person.objects.filter(born=born).values_list("pk", flat=True)[:500]:
        scores[number] += 1
    for number in Person.objects.filter(born__in=near_dates(born)).values_list("pk", flat=True)[:500]:
        scores[number] += 0.6
        reasons[number].append("date of birth differs slightly")


def _add_codes(code: str, scores: dict[int, float], reasons: dict[int, list[str]]) -> None:
    held = Person.objects.filter(code__in={code, *near_codes(code)})
    for own, found, kept in held.values_list("pk", "code", "merged_into"):
        number = kept or own
        scores[number] += 2 if found == code else 0.8
        if found != code:
            reasons[number].append("code differs by one slip")


def _add_names(name: str, scores: dict[int, float], among: Sequence[int] | None = None) -> None:
    """Add the share of the query's trigrams that each name has: the best names, and those found already; or
    only to those of `among`."""
    asked = trigrams(name)
    if not asked:
        return
    rows = NameTrigram.objects.filter(letters__in=asked)
    shared = rows.values_list("person_id").annotate(shared=Count("pk")).order_by("-shared", "person_id")
    least = max(1, int(_LEAST_SHARED * len(asked)))
    found = dict(shared.filter(shared__gte=least)[:_CANDIDATES]) if among is None else {}
    if scores:
        found.update(shared.filter(person_id__in=list(scores), shared__gte=least))
    for number, count in found.items():
        scores[number] += count / len(asked)


def _matches(
    scores: dict[int, float], reasons: dict[int, list[str]], name: str, *, with_inactive: bool
) -> list[Match]:
    best = sorted(scores, key=lambda number: -scores[number])[: 3 * _CANDIDATES]
    people = Person.objects.filter(pk__in=best, erased__isnull=True, merged_into__isnull=True)
    if not with_inactive:
        people = people.filter(Q(active=True))
    asked = plain(name)

    def rank(person: Person) -> tuple[float, float, str]:
        held = trigrams(f"{person.given_name} {person.family_name}")
        wanted = trigrams(asked)
        alike = 2 * len(held & wanted) / (len(held) + len(wanted)) if held or wanted else 0.0
        return -round(scores[person.pk], 6), -alike, person.full_name

    ordered = sorted(people, key=rank)[:LIMIT]
    return [Match(person, scores[person.pk], "; ".join(reasons[person.pk])) for person in ordered]
