"""The registry and the verdict: a check must be able to fail."""

import math

import pytest

from evenfield.tissue import Label
from evenfield.verify.checks import (
    CannotRunError,
    Check,
    Kind,
    Status,
    Subject,
    all_checks,
    holds,
    register,
    run_check,
    run_checks,
)
from evenfield.verify.table import exit_status, row, summary, to_json, tolerance_text


def make(
    kind: Kind = Kind.ABSOLUTE, expected: float = 10.0, tolerance: float = 0.1, got: float = 10.0
) -> Check:
    return Check("id", Subject.DOSE, "what", expected, tolerance, kind, "K", "source", Label.C, lambda: got)


@pytest.mark.parametrize(
    ("kind", "good", "bad"),
    [
        (Kind.ABSOLUTE, (9.91, 10.09), (9.89, 10.11, math.nan, math.inf)),
        (Kind.RELATIVE, (9.01, 10.99), (8.99, 11.01, math.nan, -10.0)),
        (Kind.AT_MOST, (-5.0, 10.0), (10.2, math.nan, math.inf)),
        (Kind.AT_LEAST, (10.0, 1e9), (9.8, math.nan, -math.inf)),
    ],
)
def test_verdict(kind: Kind, good: tuple[float, ...], bad: tuple[float, ...]) -> None:
    assert all(holds(make(kind), got) for got in good)
    assert not any(holds(make(kind), got) for got in bad)


def test_a_failing_check_fails_the_run() -> None:
    good, bad = run_check(make()), run_check(make(got=11.0))
    assert (good.status, bad.status) == (Status.PASSED, Status.FAILED)
    assert exit_status([good]) == 0
    assert exit_status([good, bad]) == 1
    assert summary([good, bad]) == "1 passed, 1 failed"


def test_a_missing_program_is_shown_and_is_no_failure() -> None:
    def absent() -> float:
        raise CannotRunError("needs NGSolve (make dev)")

    one = make()
    result = run_check(
        Check(one.id, one.subject, one.what, 0.0, 0.1, one.kind, "", one.source, one.label, absent)
    )
    assert result.status is Status.NOT_RUN
    assert row(result)[-1] == "needs NGSolve (make dev)"
    assert to_json([result])[0]["got"] is None
    assert exit_status([result]) == 0
    assert summary([result]) == "0 passed, 0 failed, 1 not run"


def test_a_broken_check_is_not_hidden() -> None:
    def broken() -> float:
        raise ZeroDivisionError

    one = make()
    with pytest.raises(ZeroDivisionError):
        run_check(Check("b", one.subject, "", 0.0, 0.1, one.kind, "", "", one.label, broken))


def test_ids_are_unique_and_sources_are_named() -> None:
    checks = all_checks()
    assert len({one.id for one in checks}) == len(checks) > 150
    assert {one.subject for one in checks} == set(Subject)
    assert all(one.source and one.what for one in checks)
    with pytest.raises(ValueError, match="exists already"):
        register(checks[0])


def test_every_fact_of_practice_says_which_panels_it_holds_for() -> None:
    facts = [one for one in all_checks() if one.subject is Subject.PRACTICE]
    assert len(facts) == 9
    assert all(one.what.startswith(("panels that follow the round skin, ", "flat panels, ")) for one in facts)


def test_unknown_selection_is_one_clear_sentence() -> None:
    with pytest.raises(ValueError, match=r"no check is called nonsense; subjects are dielectric, thermal"):
        run_checks(["nonsense"])


def test_tolerances_in_words() -> None:
    assert tolerance_text(make()) == "± 0.1 K"
    assert tolerance_text(make(Kind.RELATIVE, tolerance=1e-5)) == "± 0.001 %"
    assert tolerance_text(make(Kind.AT_MOST, tolerance=0.0)) == "at most"
