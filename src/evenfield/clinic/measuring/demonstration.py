"""Invented measurements of the invented clients."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

from evenfield.clinic.audit.invented import invented_at
from evenfield.clinic.courses.demonstration import done_visits
from evenfield.clinic.measuring.agreement import settle
from evenfield.clinic.measuring.plan import SetPlan, read_plan
from evenfield.clinic.measuring.protocols import default_protocols
from evenfield.clinic.measuring.recording import keep_set, number_content
from evenfield.clinic.people.models import Person

# Invented readings as typed, in cm and for fat in mm, of two visits.
_THIGHS: tuple[tuple[str, Mapping[str, Sequence[str]]], ...] = tuple(
    (side, {"80": upper, "0": middle, "-80": lower, "fat": fat})
    for side, upper, middle, lower, fat in (
        ("right", ("61.2", "61.4"), ("57.0", "57.2"), ("49.1", "49.0"), ("19.5", "19.9")),
        ("left", ("61.9", "61.7"), ("57.8", "57.6"), ("49.6", "49.9"), ("20.4", "20.0")),
        ("right", ("60.8", "61.0"), ("56.5", "56.9"), ("49.0", "49.2"), ("18.8", "19.2")),
        ("left", ("61.6", "61.2"), ("55.9", "55.7"), ("49.3", "49.7"), ("19.6", "20.2")),
    )
)

_SHARES = {"front": 1.0, "inner": 1.18, "back": 1.07, "outer": 1.31}  # invented: fat around, by the front's


def make_measurements() -> None:
    """Thighs of one client before her first visit and today, and the abdomen of another today."""
    protocols = default_protocols()
    first = next(visit for visit in done_visits() if visit.person.family_name == "Holvat")
    assert first.started_at
    for number, (side, typed) in enumerate(_THIGHS):
        asked = {"region": "thigh", "side": side, "girth": "thigh_mid_tape", "fat": "fat_ultrasound_1450"}
        plan = read_plan(asked, protocols, "cm")
        if number < 2:
            with invented_at(first.started_at - timedelta(minutes=40 - 8 * number)):
                _keep("Holvat", plan, typed, f"demonstration {number}")
        else:
            _keep("Holvat", plan, typed, f"demonstration {number}")
    asked = {"region": "abdomen", "girth": "abdomen_navel_tape", "fat": "fat_skinfold", "weight": "1"}
    abdomen = {"50": ("84.1", "84.5"), "0": ("88.0", "87.4"), "-50": ("93.2", "93.0"), "fat": ("46", "47")}
    _keep(
        "Pallandér",
        read_plan(asked, protocols, "cm"),
        {**abdomen, "weight": ("68.4", "68.4")},
        "demonstration",
    )


def _keep(family: str, plan: SetPlan, typed: Mapping[str, Sequence[str]], token: str) -> None:
    values = []
    for line in plan.lines():
        name = "weight" if line.level_mm is None else "fat" if line.direction else f"{line.level_mm:g}"
        share = _SHARES.get(line.direction, 1.0)
        texts = [f"{float(text) * share:.1f}" for text in typed[name]]
        readings = [line.unit.read(text) for text in texts]
        values.append(number_content(line, texts, readings, settle(readings, line.protocol), ()))
    keep_set(Person.objects.get(family_name=family), plan, values, token=token, note="Invented.")
