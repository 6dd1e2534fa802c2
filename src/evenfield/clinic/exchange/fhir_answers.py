"""Screening, decisions, set-up and consent as FHIR."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from evenfield.clinic.exchange import fhir_terms as terms
from evenfield.clinic.exchange.fhir_bundle import (
    Resource,
    base64_of,
    moment,
    own,
    performer,
    reference,
    resource,
)
from evenfield.clinic.exchange.gathered import Gathered
from evenfield.clinic.screening.models import Kind, ScreeningEntry
from evenfield.clinic.setup_check.runs import Run
from evenfield.conduct.screening import Given

_GIVEN = {given.value: given.name.lower().replace("_", "-") for given in Given}


def questionnaires(gathered: Gathered) -> list[Resource]:
    """Each version asked once as Questionnaire, each time it was answered as QuestionnaireResponse."""
    answers = [one for one in gathered.screening if one.kind == Kind.ANSWERS]
    screening: dict[str, dict[str, Mapping[str, Any]]] = {}
    for one in answers:
        items = screening.setdefault(one.content["version"], {})
        items |= {asked["id"]: asked for asked in one.content["questions"]}
    found = [
        _questionnaire("screening", version, (_choice(asked) for asked in items.values()))
        for version, items in screening.items()
    ]
    lines: dict[str, dict[str, str]] = {}
    for run in gathered.setups:
        texts = lines.setdefault(run.begun.content["version"], {})
        texts |= {tick.content["line"]: tick.content["text"] for tick in run.ticks}
    found += [
        _questionnaire("set-up", version, (_tick_item(*item) for item in texts.items()))
        for version, texts in lines.items()
    ]
    found += [_answers(one, gathered) for one in answers]
    return found + [_setup(run, gathered) for run in gathered.setups]


def _questionnaire(name: str, version: str, items: Iterable[dict[str, Any]]) -> Resource:
    return resource(
        "Questionnaire",
        f"questionnaire-{name}",
        version,
        url=f"{terms.OWN}/Questionnaire/{name}",
        version=version,
        status="active",
        title=f"{name}, version {version}",
        item=list(items),
    )


def _choice(asked: Mapping[str, Any]) -> dict[str, Any]:
    options = [{"valueCoding": _given(value)} for value in _GIVEN]
    return {"linkId": asked["id"], "text": asked["ask"], "type": "choice", "answerOption": options}


def _given(value: str) -> dict[str, str]:
    return {"system": terms.ANSWER, "code": _GIVEN[value], "display": value}


def _tick_item(line: str, text: str) -> dict[str, Any]:
    why = {"linkId": f"{line}.reason", "text": "Why it was skipped", "type": "string"}
    return {"linkId": line, "text": text, "type": "boolean", "item": [why]}


def _answers(one: ScreeningEntry, gathered: Gathered) -> Resource:
    content = one.content
    items = [
        {"linkId": asked["id"], "text": asked["ask"], "answer": [{"valueCoding": _given(asked["given"])}]}
        for asked in content["questions"]
    ]
    return _response("screening", content["version"], one, one.number, items, gathered)


def _setup(run: Run, gathered: Gathered) -> Resource:
    last = {tick.content["line"]: tick.content for tick in run.ticks}
    items = []
    for line, said in last.items():
        answer: dict[str, Any] = {"valueBoolean": bool(said["done"])}
        if said["reason"]:
            answer["item"] = [{"linkId": f"{line}.reason", "answer": [{"valueString": said["reason"]}]}]
        items.append({"linkId": line, "text": said["text"], "answer": [answer]})
    return _response("set-up", run.begun.content["version"], run.begun, run.begun.number, items, gathered)


def _response(
    name: str, version: str, row: Any, number: int, items: Sequence[dict[str, Any]], gathered: Gathered
) -> Resource:
    visit = gathered.visit_on(row.at)
    return resource(
        "QuestionnaireResponse",
        name,
        number,
        questionnaire=f"{terms.OWN}/Questionnaire/{name}|{version}",
        status="completed",
        subject=reference("person", gathered.person.pk),
        encounter=reference("visit", visit.pk) if visit else {},
        authored=moment(row.at),
        author=next(iter(performer(row.actor_id, gathered)), {}),
        item=list(items),
    )


def decisions(gathered: Gathered) -> list[Resource]:
    """What the answers led to, and what a lead clinician decided about them."""
    sent = {one.number for one in gathered.screening if one.kind == Kind.ANSWERS}
    found = []
    for one in gathered.screening:
        content = one.content
        if one.kind == Kind.ANSWERS:
            reasons = [finding["reason"] for finding in content["findings"]]
            found.append(_outcome(one, content["outcome"], reasons, one.number, gathered))
        elif one.kind == Kind.DECISION:
            outcome = "go on" if content["go_on"] else "refuse"
            about = content["about"] if content["about"] in sent else None
            found.append(_outcome(one, outcome, [content["reason"]], about, gathered))
    return found


def _outcome(
    one: ScreeningEntry, outcome: str, reasons: Sequence[str], about: int | None, gathered: Gathered
) -> Resource:
    decided = one.kind == Kind.DECISION
    visit = gathered.visit_on(one.at)
    code = "screening-decision" if decided else "screening-outcome"
    return resource(
        "Observation",
        code,
        one.number,
        status="final",
        category=[{"coding": [{"system": terms.OBSERVATION_CATEGORY, "code": "survey"}]}],
        code=own(
            terms.ACTIVITY, code, "decision of a lead clinician" if decided else "outcome of the questions"
        ),
        subject=reference("person", gathered.person.pk),
        encounter=reference("visit", visit.pk) if visit else {},
        effectiveDateTime=moment(one.at),
        performer=performer(one.actor_id, gathered),
        valueCodeableConcept=own(terms.ANSWER, outcome.replace(" ", "-"), outcome),
        note=[{"text": reason} for reason in reasons if reason],
        derivedFrom=[reference("screening", about)] if about else [],
    )


def consents(gathered: Gathered) -> list[Resource]:
    """Each consent with the text signed; inactive once a later one or a withdrawal took its place."""
    found = []
    rows = [one for one in gathered.screening if one.kind in (Kind.CONSENT, Kind.WITHDRAWAL)]
    for place, one in enumerate(rows):
        if one.kind == Kind.WITHDRAWAL:
            continue
        after = rows[place + 1] if place + 1 < len(rows) else None
        content, number = one.content, one.number
        found.append(
            resource(
                "Consent",
                "consent",
                number,
                status="inactive" if after else "active",
                scope={"coding": [{"system": terms.CONSENT_SCOPE, "code": "treatment"}]},
                category=[own(terms.ACTIVITY, "consent-to-visits", "consent to the visits")],
                patient=reference("person", gathered.person.pk),
                dateTime=moment(one.at),
                performer=[reference("person", gathered.person.pk)],
                organization=[reference("clinic", "")],
                sourceReference=reference("signed", number),
                policyRule=own(terms.ACTIVITY, "consent-text", f"consent text, version {content['version']}"),
            )
        )
        found.append(_signed(one, gathered))
        if after and after.kind == Kind.WITHDRAWAL:
            found.append(_withdrawn(one, after, gathered))
    return found


def _signed(one: ScreeningEntry, gathered: Gathered) -> Resource:
    content = one.content
    text = f"{content['text']}\n\nSigned on the screen by {content['name']}, {moment(one.at)}.\n"
    attachment = {"contentType": "text/plain; charset=utf-8", "data": base64_of(text)}
    return resource(
        "DocumentReference",
        "signed",
        one.number,
        status="current",
        docStatus="final",
        type=own(terms.ACTIVITY, "signed-consent", "text as signed"),
        subject=reference("person", gathered.person.pk),
        date=moment(one.at),
        custodian=reference("clinic", ""),
        content=[{"attachment": attachment}],
    )


def _withdrawn(one: ScreeningEntry, withdrawal: ScreeningEntry, gathered: Gathered) -> Resource:
    who = performer(withdrawal.actor_id, gathered) or [reference("clinic", "")]
    return resource(
        "Provenance",
        "consent-withdrawal",
        withdrawal.number,
        target=[reference("consent", one.number)],
        recorded=moment(withdrawal.at),
        activity=own(terms.ACTIVITY, "withdrawal"),
        agent=[{"who": each} for each in who],
    )
