"""The rules as code. Their words, urgency, rank, source and label are data in the practice profile."""

from __future__ import annotations

from evenfield.conduct.rules import asking, course, estimated, heat, power, tuning
from evenfield.conduct.rules.course import MISSING
from evenfield.conduct.rules.scene import Proposal, Rule, Scene

RULES: tuple[Rule, ...] = (
    *heat.RULES,
    *asking.RULES,
    *estimated.RULES,
    *tuning.RULES,
    *course.RULES,
    *power.RULES,
)

__all__ = ["MISSING", "RULES", "Proposal", "Rule", "Scene"]
