"""How many questions each page asks the database: a bound for each page, and no more in a larger clinic.

Larger means more of everything: people, visits of one person, entries of one visit, rooms, running visits.
"""

import pytest
from django.db import transaction

from bench.clinic_made import Size, make_clinic
from bench.clinic_pages import NOT_BY_GET, Browser, pages
from evenfield.clinic.access import routes
from evenfield.clinic.visits import running

SMALL = Size(people=12, visits=80, events=3_000, history=24, long=20, running=2, rooms=2, years=1)
LARGE = Size(people=50, visits=250, events=12_000, history=36, long=40, running=7, rooms=5, years=1)

MOST = 14
MORE = {
    "person": 30, "person: usual": 30, "person-courses": 25, "person-courses: further": 25, "visit": 22,
    "add-visit": 16, "plan-visit": 16, "plan-region": 16,
}  # fmt: skip
"""Pages that gather from many parts of the record."""
MOST_SENT = 24
"""What is sent out about a person or a visit."""


def bound(page: str) -> int:
    """Questions that a page may ask."""
    sent = page.startswith(("send-person:", "send-visit:", "export-person")) or page.endswith("-fhir")
    return MOST_SENT if sent else MORE.get(page, MOST)


def asked(size: Size) -> tuple[dict[str, list[str]], set[str]]:
    """For a clinic of this size, which is gone afterwards: the questions of every page; the routes asked."""
    with transaction.atomic():
        made = make_clinic(size, lambda _words: None)
        browser = Browser()
        every = pages(made, browser.account)
        browser.ask(every[0])
        found = {}
        for page in every:
            running.forget([made.running, made.done])  # as after a restart
            found[page.name] = browser.queries(page)
        transaction.set_rollback(True)
    return found, {page.route for page in every}


@pytest.mark.slow
def test_each_page_asks_few_questions_and_no_more_in_a_larger_clinic(db: None) -> None:
    small, seen = asked(SMALL)
    assert seen | NOT_BY_GET == {str(route.name) for route in routes()}
    assert {name: len(questions) for name, questions in small.items() if len(questions) > bound(name)} == {}
    large, _ = asked(LARGE)
    grown = {
        name: (len(small[name]), len(questions), questions[-3:])
        for name, questions in large.items()
        if len(questions) > len(small[name])
    }
    assert grown == {}
