"""Screening, the set-up checklist, and unwanted events: data and what follows from answers."""

from __future__ import annotations

import pytest

from evenfield.conduct.adverse import (
    AdverseEventError,
    default_adverse_events,
    grade_event,
    severity,
)
from evenfield.conduct.screening import (
    Given,
    Outcome,
    Question,
    ScreeningError,
    assess,
    default_screening,
    read_screening,
)
from evenfield.conduct.setup import SetupError, Tick, check, default_checklist

GOOD = {question.id: question.good for question in default_screening().question}


def other(given: Given) -> Given:
    return Given.NO if given is Given.YES else Given.YES


def test_all_good_answers_go_on() -> None:
    assessment = assess(GOOD)
    assert assessment.outcome is Outcome.GO_ON
    assert assessment.findings == ()
    assert assessment.version == default_screening().version


@pytest.mark.parametrize("question", default_screening().question, ids=lambda question: question.id)
def test_each_question_leads_to_its_own_outcome_with_its_reason(question: Question) -> None:
    assessment = assess({**GOOD, question.id: other(question.good)})
    assert assessment.outcome is question.outcome
    [finding] = assessment.findings
    assert finding.reason == question.reason
    unsure = assess({**GOOD, question.id: Given.NOT_KNOWN})
    assert unsure.outcome is Outcome.ASK
    without = {key: given for key, given in GOOD.items() if key != question.id}
    assert assess(without).outcome is Outcome.ASK
    assert [(one.question, one.given) for one in assess(without).findings] == [(question.id, None)]


@pytest.mark.parametrize(
    "refused",
    [
        "implant",
        "metal",
        "cancer",
        "pregnancy",
        "bleeding",
        "clot",
        "blood_supply",
        "infection",
        "fever",
        "eyes",
        "testes",
        "growth_plates",
        "radiotherapy",
        "heat_sense",
        "can_report",
    ],
)
def test_who_must_not_be_treated_is_refused(refused: str) -> None:
    """FDA notification of 19 December 2002; CSP 2006; Houghton, Nussbaum, Hoens, Physiother Can 2010, ch. 8.

    Those marked M in the data are from memory.
    """
    assert assess({**GOOD, refused: other(GOOD[refused])}).outcome is Outcome.REFUSE


def test_a_refusal_outweighs_a_question_to_the_clinician() -> None:
    assessment = assess({**GOOD, "changed": "yes", "implant": "yes"})
    assert assessment.outcome is Outcome.REFUSE
    assert {finding.question for finding in assessment.findings} == {"changed", "implant"}


def test_answers_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ScreeningError, match="'tattoo': version 1 does not ask this"):
        assess({**GOOD, "tattoo": "no"})
    with pytest.raises(ScreeningError, match="allowed yes, no, not known"):
        assess({**GOOD, "implant": "perhaps"})


QUESTION = """[[question]]
id = "a"
ask = "?"
good = "no"
outcome = "ask"
reason = "r"
source = "s"
label = "A"
"""
HEAD = 'version = "2"\ntitle = "t"\noverruled_by = "o"\n'


def test_a_clinics_own_version_is_used_and_kept() -> None:
    own = read_screening(HEAD + QUESTION, "own")
    assert assess({"a": "no"}, own).outcome is Outcome.GO_ON
    assert assess({"a": "yes"}, own).version == "2"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("version = ", "not TOML"),
        (HEAD, "question"),
        (HEAD + QUESTION + QUESTION, "one id"),
        (HEAD + QUESTION.replace('outcome = "ask"', 'outcome = "go on"'), "allowed ask or refuse"),
        (HEAD + QUESTION.replace('good = "no"', 'good = "not known"'), "allowed yes or no"),
        (HEAD + QUESTION.replace('source = "s"\n', ""), "source"),
        (HEAD + QUESTION + "colour = 1\n", "colour"),
    ],
)
def test_questions_that_cannot_be_used_are_refused(text: str, said: str) -> None:
    with pytest.raises(ScreeningError, match=said):
        read_screening(text, "own")


def test_the_checklist_stands_in_working_order() -> None:
    """Common practice, no source."""
    assert [line.id for line in default_checklist().line] == [
        "metal_off",
        "couch_covered",
        "clothing_off",
        "bolstered",
        "other_limb_away",
        "fan",
        "arm_free",
        "panels_parallel",
        "cables_apart",
        "stop_in_reach",
        "told",
    ]


def test_the_set_up_is_complete_when_every_line_is_done_or_skipped_with_a_reason() -> None:
    lines = [line.id for line in default_checklist().line]
    ticks = [Tick(line, True) for line in lines if line != "fan"]
    assert check(ticks).open == ("fan",)
    assert not check(ticks).complete
    ready = check([*ticks, Tick("fan", False, "cold room")])
    assert ready.complete
    assert ready.skipped == (("fan", "cold room"),)
    assert check([Tick("fan", False, "cold room"), *ticks, Tick("fan", True)]).skipped == ()
    with pytest.raises(SetupError, match="without a reason"):
        check([Tick("fan", False, " ")])
    with pytest.raises(SetupError, match="allowed are metal_off"):
        check([Tick("belt", True)])


# Which grades each term has: CTCAE v5.0, National Cancer Institute, 27 Nov 2017 (P, public transcription).
GRADES = {
    "burn": "12345",
    "pain_of_skin": "123",
    "paresthesia": "123",
    "dysesthesia": "123",
    "skin_induration": "12345",
    "bullous_dermatitis": "12345",
    "skin_ulceration": "12345",
    "fat_atrophy": "123",
    "pruritus": "123",
    "localized_edema": "123",
    "lipohypertrophy": "123",
    "bruising": "12",
    "skin_hyperpigmentation": "12",
    "presyncope": "2",
    "syncope": "3",
    "vasovagal_reaction": "345",
    "skin_infection": "12345",
    "skin_other": "12345",
}


def test_terms_have_the_grades_of_the_published_scale_and_no_others() -> None:
    has = {term.id: "".join(str(grade) for grade in term.grades) for term in default_adverse_events().term}
    assert has == GRADES


def test_redness_has_no_term_of_its_own_in_this_edition() -> None:
    """CTCAE v5.0: erythema is not among the 837 terms (P)."""
    assert not any("erythema" in term.name.lower() for term in default_adverse_events().term)
    assert len(default_adverse_events().redness.steps) == 5


def test_a_grade_keeps_scale_and_version() -> None:
    graded = grade_event("burn", 2)
    assert (graded.scale, graded.scale_version) == ("CTCAE", "5.0")
    assert graded.severity == "moderate"
    assert "medical treatment" in graded.meaning


def test_severity_follows_the_grade() -> None:
    """A convention of ours for exchange: 1 mild, 2 moderate, 3-5 severe."""
    assert [severity(grade) for grade in (1, 2, 3, 4, 5)] == [
        "mild",
        "moderate",
        "severe",
        "severe",
        "severe",
    ]


def test_gradings_that_make_no_sense_are_refused() -> None:
    with pytest.raises(AdverseEventError, match=r"Syncope has no grade 1 in CTCAE 5\.0: allowed 3"):
        grade_event("syncope", 1)
    with pytest.raises(AdverseEventError, match="allowed are burn"):
        grade_event("sunburn", 1)
    with pytest.raises(AdverseEventError, match="say in words"):
        grade_event("skin_other", 1)
    assert grade_event("skin_other", 1, "redness 2 of 4 for 20 minutes").words
