"""One set as it is being taken: what was typed, what is wrong, what is questioned, what is still to be read.

The whole state travels with the form, so that it works without scripts and nothing is lost when something is
asked: the typed text of every reading, and signed with it what stood there before. Names of fields: `r1-KEY`
a reading of round 1, `sure-1-KEY` (its value is the text it confirms) and `why-1-KEY` the answer to a
question.
"""

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.core import signing

from evenfield.clinic.measuring.agreement import Settled, settle
from evenfield.clinic.measuring.plan import EntryLine, SetPlan
from evenfield.clinic.measuring.protocols import Protocol
from evenfield.clinic.measuring.recording import number_content
from evenfield.clinic.measuring.slips import Doubt, HeldAgainst, question, question_of_set
from evenfield.clinic.measuring.units import TypedError, TypedUnit

_SALT = "measuring.taking"
_LONGEST = 12
_LEAST_REASON = 5
_LONGEST_REASON = 200
SET_KEY = "set"

KnownOf = Callable[[EntryLine], HeldAgainst]


@dataclass
class TypedReading:
    """One field: what was typed, its value in SI, and what is wrong or asked about it."""

    line: EntryLine
    round: int
    typed: str = ""
    value: float | None = None
    problem: str = ""
    question: Doubt | None = None
    why: str = ""
    sure: bool = False

    @property
    def name(self) -> str:
        """Name of the field."""
        return f"r{self.round}-{self.line.key}"

    @property
    def open(self) -> bool:
        """Whether something must be done here."""
        return bool(self.problem) or (self.question is not None and not self.answered)

    @property
    def answered(self) -> bool:
        """Whether the question was confirmed with a reason."""
        return self.sure and len(self.why) >= _LEAST_REASON

    @property
    def likely(self) -> list[tuple[str, str]]:
        """Slips that would explain it, with what was then meant."""
        if self.question is None:
            return []
        return [(one.words, self.line.unit.show(one.meant)) for one in self.question.likely]


@dataclass
class SetQuestion:
    """A question about all girths together, and its answer."""

    words: str
    why: str
    sure: bool

    @property
    def answered(self) -> bool:
        """Whether it was confirmed with a reason."""
        return self.sure and len(self.why) >= _LEAST_REASON


@dataclass
class Taking:
    """The set as judged.

    Attributes:
        rounds: (n, lines) the fields shown, round by round; beyond the first rounds only lines that need it.
        settled: by key, the lines that are done.
        problem: what is wrong with the whole, "" if nothing.
        about_set: the question about all girths together, None if there is none.
    """

    plan: SetPlan
    rounds: list[list[TypedReading]]
    token: str
    amended: list[dict[str, Any]] = field(default_factory=list)
    settled: dict[str, Settled] = field(default_factory=dict)
    problem: str = ""
    about_set: SetQuestion | None = None
    note: str = ""
    sent: bool = False

    @property
    def complete(self) -> bool:
        """Whether it can be kept."""
        return (
            self.sent
            and not self.problem
            and not any(reading.open for row in self.rounds for reading in row)
            and (self.about_set is None or self.about_set.answered)
            and bool(self.settled)
        )

    @property
    def open_count(self) -> int:
        """How many fields must still be looked at."""
        return sum(reading.open for row in self.rounds for reading in row)

    @property
    def first_open(self) -> str:
        """Name of the field where one goes on."""
        fields = [reading for row in self.rounds for reading in row]
        found = next((one for one in fields if one.open), None)
        return (found or fields[0]).name if fields else ""

    def state(self) -> str:
        """What travels signed with the form."""
        typed = {one.name: one.typed for row in self.rounds for one in row if one.typed}
        return signing.dumps(
            {"token": self.token, "typed": typed, "amended": self.amended, "rounds": len(self.rounds)},
            salt=_SALT,
            compress=True,
        )

    def values(self) -> list[dict[str, Any]]:
        """Every settled number as it is kept."""
        kept = []
        for line in self.plan.lines():
            settled = self.settled.get(line.key)
            if settled is None:
                continue
            mine = [one for row in self.rounds for one in row if one.line.key == line.key and one.value]
            confirmed = [
                {"typed": one.typed, "asked": one.question.words if one.question else "", "reason": one.why}
                for one in mine
                if one.question
            ]
            kept.append(
                number_content(
                    line, [one.typed for one in mine], [one.value or 0.0 for one in mine], settled, confirmed
                )
            )
        return kept

    def confirmed(self) -> list[dict[str, str]]:
        """The answered question about all girths together."""
        if self.about_set is None:
            return []
        return [{"asked": self.about_set.words, "reason": self.about_set.why}]


def begin(plan: SetPlan) -> Taking:
    """An empty set: two rounds of every line."""
    return Taking(plan, _rounds(plan, {}, 0), secrets.token_hex(8))


def judge(
    plan: SetPlan,
    sent: Mapping[str, str],
    known: KnownOf,
    girths_last_time: tuple[list[float], list[float] | None] | None = None,
) -> Taking:
    """Judge what was sent.

    Args:
        plan: what is measured.
        sent: the fields of the form.
        known: what a line's readings are held against.
        girths_last_time: girths of the last visit by ascending level, and of the other side if there are any.
    """
    try:
        before = signing.loads(sent.get("state", ""), salt=_SALT, max_age=24 * 3600)
    except signing.BadSignature:
        begun = begin(plan)
        begun.problem = "This page was open too long or is damaged: please enter the set again."
        return begun
    typed = {name: sent.get(name, "").strip()[:_LONGEST] for name in sent if name.startswith("r")}
    taking = Taking(plan, _rounds(plan, typed, int(before["rounds"])), before["token"], sent=True)
    taking.amended = [*before["amended"], *_amended(before["typed"], typed)]
    taking.note = sent.get("note", "").strip()[:500]
    for line in plan.lines():
        _judge_line(taking, line, sent, known(line))
    if not any(one.typed for row in taking.rounds for one in row):
        taking.problem = "Nothing has been entered yet."
    _ask_about_set(taking, sent, girths_last_time)
    return taking


def _rounds(plan: SetPlan, typed: Mapping[str, str], shown: int) -> list[list[TypedReading]]:
    lines = plan.lines()
    rounds = []
    for number in range(1, max(shown, 2, *(line.protocol.readings for line in lines)) + 1):
        row = [
            TypedReading(line, number, typed.get(f"r{number}-{line.key}", ""))
            for line in lines
            if number <= line.protocol.readings or f"r{number}-{line.key}" in typed
        ]
        if row:
            rounds.append(row)
    return rounds


def _judge_line(taking: Taking, line: EntryLine, sent: Mapping[str, str], known: HeldAgainst) -> None:
    """Judge the readings of one line; settle it, or leave open what is still asked."""
    for row in taking.rounds:  # a further reading left empty is asked for anew if it is still wanted
        row[:] = [
            one for one in row if one.line.key != line.key or one.typed or one.round <= line.protocol.readings
        ]
    fields = [one for row in taking.rounds for one in row if one.line.key == line.key]
    filled = [one for one in fields if one.typed]
    if not filled:
        return  # not measured, and kept as such
    for one in fields:
        _judge_reading(one, filled, sent, known)
    if any(one.open for one in fields):
        return
    settled = settle([one.value for one in filled if one.value], line.protocol)
    if settled.value <= 0:
        filled[-1].problem = f"This comes to nothing by the protocol ({line.protocol.conversion})."
        return
    if settled.want_another:
        _another(taking, line, fields)
        return
    last = filled[-1]
    if not settled.agreed and last.question is None:
        last.question = disagreement(len(filled), settled)
        _take_answer(last, sent)
        if last.open:
            return
    taking.settled[line.key] = settled


def _judge_reading(
    one: TypedReading, filled: Sequence[TypedReading], sent: Mapping[str, str], known: HeldAgainst
) -> None:
    """Its value, what is wrong with it or the question it raises, and the answer sent. `filled`: the readings
    typed for its line; an earlier one is held against it where nothing else is known."""
    line = one.line
    if not one.typed:
        one.problem = (
            f"Reading {one.round} is missing. Leave all readings of a line empty if it was not measured."
        )
        return
    try:
        one.value = line.unit.read(one.typed)
    except TypedError as error:
        one.problem = str(error)
        return
    others = [other.value for other in filled if other.round < one.round and other.value and _good(other)]
    held = known if known.earlier is not None or not others else _with_fellow(known, others[0])
    one.question = question(one.typed, one.value, line.unit, line.protocol, held)
    _take_answer(one, sent)


def _take_answer(one: TypedReading, sent: Mapping[str, str]) -> None:
    """What was answered to the question about a reading; it holds for the number it was given for."""
    suffix = f"{one.round}-{one.line.key}"
    one.why = sent.get(f"why-{suffix}", "").strip()[:_LONGEST_REASON]
    one.sure = sent.get(f"sure-{suffix}") == one.typed


def _good(reading: TypedReading) -> bool:
    return reading.question is None or reading.answered


def _with_fellow(known: HeldAgainst, fellow: float) -> HeldAgainst:
    return HeldAgainst(known.span, None, fellow, known.other_side, known.other_places)


def _another(taking: Taking, line: EntryLine, fields: list[TypedReading]) -> None:
    """Ask for one more reading of a line."""
    number = fields[-1].round + 1
    words = apart_words([one.value or 0.0 for one in fields], line.unit, line.protocol)
    asked = TypedReading(line, number, problem=f"{words}: read once more.")
    while len(taking.rounds) < number:
        taking.rounds.append([])
    taking.rounds[number - 1].append(asked)


def apart_words(readings: Sequence[float], unit: TypedUnit, protocol: Protocol) -> str:
    """How far readings in SI lie apart, and how far they may."""
    limit, apart = protocol.limit(max(readings)), max(readings) - min(readings)
    return f"The readings lie {unit.show(apart)} apart (limit {unit.show(limit)})"


def disagreement(count: int, settled: Settled) -> Doubt:
    """The question that remains when as many readings as the protocol allows do not agree."""
    return Doubt(f"{count} readings do not agree; the {settled.by} would be kept so marked.", ())


def _ask_about_set(
    taking: Taking,
    sent: Mapping[str, str],
    girths_last_time: tuple[list[float], list[float] | None] | None,
) -> None:
    plan = taking.plan
    keys = [f"girth_{level:g}" for level in plan.levels_mm]
    if plan.girth is None or girths_last_time is None or not all(key in taking.settled for key in keys):
        return
    own, other = girths_last_time
    words = question_of_set([taking.settled[key].reading for key in keys], own, other, plan.girth)
    if words:
        why = sent.get(f"why-{SET_KEY}", "").strip()[:_LONGEST_REASON]
        taking.about_set = SetQuestion(words, why, sent.get(f"sure-{SET_KEY}") == "yes")


def _amended(before: Mapping[str, str], now: Mapping[str, str]) -> list[dict[str, str]]:
    """Readings that were typed otherwise before; kept with the set, so that nothing disappears."""
    return [
        {"field": name, "was": was, "now": now.get(name, "")}
        for name, was in before.items()
        if now.get(name, "") != was
    ]
