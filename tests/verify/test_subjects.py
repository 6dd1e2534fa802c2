"""Every registered check holds. `evenfield verify` is the same for the user; here it guards each change."""

import pytest

from evenfield.verify.checks import Status, Subject, run_checks
from evenfield.verify.table import row

QUICK = [Subject.DIELECTRIC, Subject.THERMAL, Subject.DOSE, Subject.PEOPLE_NEAR, Subject.CHANGE]


def assert_all_pass(subjects: list[Subject]) -> None:
    results = run_checks(subjects)
    assert results
    failed = [" | ".join(row(result)) for result in results if result.status is not Status.PASSED]
    assert not failed, "\n".join(failed)


@pytest.mark.parametrize("subject", QUICK)
def test_quick_subjects(subject: Subject) -> None:
    assert_all_pass([subject])


@pytest.mark.slow
@pytest.mark.parametrize("subject", [subject for subject in Subject if subject not in QUICK])
def test_subjects_that_solve_in_three_dimensions(subject: Subject) -> None:
    assert_all_pass([subject])
