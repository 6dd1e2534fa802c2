"""A visit under test: enter events one after the other, then ask for the prompts at a moment."""

from __future__ import annotations

from dataclasses import dataclass, field

from evenfield.conduct import Advice, Estimate, Event, Likely, PracticeProfile, ZoneEstimate, advise
from evenfield.conduct import default_profile as shipped
from evenfield.conduct.advice import Prompt
from evenfield.conduct.events import (
    Answer,
    Comfort,
    Fact,
    Planned,
    PowerSet,
    PromptAnswered,
    RegionKind,
    Started,
    TuningShown,
)


@dataclass
class Visit:
    """Events entered so far; ids are given in order of entry unless stated."""

    profile: PracticeProfile = field(default_factory=shipped)
    events: list[Event] = field(default_factory=list)

    def enter(self, *events: Event) -> Visit:
        self.events += events
        return self

    def at(self, now_s: float, estimate: Estimate | None = None) -> Advice:
        return advise(self.events, self.profile, estimate, now_s)

    def rules(self, now_s: float, estimate: Estimate | None = None) -> list[str]:
        return [prompt.rule for prompt in self.at(now_s, estimate).prompts]

    def prompt(self, rule: str, now_s: float, estimate: Estimate | None = None) -> Prompt:
        [found] = [prompt for prompt in self.at(now_s, estimate).prompts if prompt.rule == rule]
        return found

    def answer(self, rule: str, now_s: float, answer: Answer = Answer.DONE, reason: str = "") -> Visit:
        prompt = self.prompt(rule, now_s)
        reply = PromptAnswered(
            id=f"answer-{len(self.events)}", at_s=now_s, prompt=prompt.id, answer=answer, reason=reason
        )
        return self.enter(reply)


def started(region: RegionKind = "thigh", profile: PracticeProfile | None = None) -> Visit:
    """Planned, panels seen to, field on at 0 s, tuning known to be good from 2 s on at 10 W."""
    visit = Visit(profile or shipped())
    return visit.enter(
        Planned(id="plan", at_s=-300, region=region),
        Started(id="start", at_s=0),
        PowerSet(id="w10", at_s=1, watts=10),
        TuningShown(id="tuned", at_s=2, percent=86),
    )


def holding() -> Visit:
    """As `started`, raised slowly to 80 W on a thigh; the starting level is reached at 240 s."""
    visit = started()
    for step in range(2, 9):
        visit.enter(PowerSet(id=f"w{10 * step}", at_s=30.0 * step, watts=10 * step))
    return visit.enter(Comfort(id="fine", at_s=241, score=9))


def about(value: float, half_width: float = 0.5) -> Likely:
    return Likely(value, value - half_width, value + half_width)


def zone(
    name: str = "inner/middle", skin_c: float = 35.0, fat_c: float = 40.0, disagrees: bool = False
) -> ZoneEstimate:
    """A zone whose hottest points lie 0.5 K over its means."""
    return ZoneEstimate(
        name, about(skin_c), about(skin_c + 0.5), about(fat_c), about(fat_c + 0.5), disagrees=disagrees
    )


def estimate(at_s: float, *zones: ZoneEstimate, pause_left_s: Likely | None = None) -> Estimate:
    return Estimate(at_s, zones, pause_left_s)


__all__ = ["Answer", "Fact", "Visit", "about", "estimate", "holding", "started", "zone"]
