"""Published reference levels for people near the field against the formulas they come from."""

from __future__ import annotations

from functools import partial

from evenfield.field.exposure_limits import REFERENCE_LEVELS, Exposed, ReferenceLevel
from evenfield.tissue import FREQUENCY_HZ, Label
from evenfield.verify.checks import Check, Kind, Subject, register

SOURCE = "ICNIRP, Health Phys 118:483 (2020)"
FORMULAS = {
    ("ICNIRP 2020, local", Exposed.WORKER): (1504.0, 10.8),
    ("ICNIRP 2020, local", Exposed.PUBLIC): (671.0, 4.9),
    ("ICNIRP 2020, whole body", Exposed.WORKER): (660.0, 4.9),
    ("ICNIRP 2020, whole body", Exposed.PUBLIC): (300.0, 2.2),
}
"""Factors of E = a/f^0.7 [V/m] and H = b/f [A/m], f in MHz, 0.1 or 10 to 30 MHz."""


def find(rule: str, exposed: Exposed) -> ReferenceLevel:
    return next(level for level in REFERENCE_LEVELS if level.rule == rule and level.exposed is exposed)


def electric(rule: str, exposed: Exposed) -> float:
    return find(rule, exposed).electric_v_m


def magnetic(rule: str, exposed: Exposed) -> float:
    return find(rule, exposed).magnetic_a_m


for (_rule, _exposed), (_a, _b) in FORMULAS.items():
    _f = FREQUENCY_HZ / 1e6
    _label = Label.P if _rule.endswith("local") else Label.M
    for _name, _expected, _digit, _unit, _of in (
        ("electric", _a / _f**0.7, 0.05, "V/m", electric),
        ("magnetic", _b / _f, 0.0005, "A/m", magnetic),
    ):
        register(
            Check(
                f"icnirp_{_rule[13:].replace(' ', '_')}_{_exposed}_{_name}",
                Subject.PEOPLE_NEAR,
                f"{_rule}, {_exposed}: {_name} field at 27.12 MHz as kept here",
                _expected,
                _digit,
                Kind.ABSOLUTE,
                _unit,
                SOURCE,
                _label,
                partial(_of, _rule, _exposed),
            )
        )
