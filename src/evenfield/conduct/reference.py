"""The reference page of conduct, written from the data so that it cannot lag behind.

``python -m evenfield.conduct.reference > docs/conduct.md`` writes it anew; a test checks that it is current.
"""

from __future__ import annotations

from collections.abc import Iterable
from importlib import resources

from evenfield.conduct.actions import ADDS_HEAT, HOLDS_HEAT, TAKES_HEAT, Action
from evenfield.conduct.adverse import default_adverse_events
from evenfield.conduct.profile import LABEL_MEANING, Numbers, PracticeProfile, default_profile
from evenfield.conduct.rules import RULES
from evenfield.conduct.screening import default_screening
from evenfield.conduct.setup import default_checklist


def _row(cells: Iterable[object]) -> str:
    return "| " + " | ".join(str(cell).replace("|", "/").replace("\n", " ") for cell in cells) + " |"


def _table(head: tuple[str, ...], rows: Iterable[tuple[object, ...]]) -> list[str]:
    return [_row(head), _row("---" for _ in head), *(_row(row) for row in rows), ""]


def _kind(action: Action) -> str:
    if action in TAKES_HEAT:
        return "takes heat away"
    if action in HOLDS_HEAT:
        return "holds"
    return "adds heat" if action in ADDS_HEAT else "task"


def conduct_page(profile: PracticeProfile) -> str:
    """The whole page as Markdown, for the given profile."""
    head = resources.files("evenfield.conduct") / "data" / "conduct_head.md"
    lines = [head.read_text(encoding="utf-8").rstrip(), ""]
    lines += [f"## The profile: {profile.name}, version {profile.version}", "", profile.overruled_by, ""]
    lines += ["Labels: " + "; ".join(f"**{key}** {text}" for key, text in LABEL_MEANING.items()) + ".", ""]
    lines += ["### Numbers", ""]
    numbers = [(name, getattr(profile.numbers, name)) for name in Numbers.model_fields]
    numbers += [(f"starting_power_w.{region}", n) for region, n in profile.starting_power_w.items()]
    lines += _table(
        ("number", "value", "a clinic may set", "meaning", "source", "label"),
        (
            (
                f"`{name}`",
                f"{n.value:g} {n.unit}",
                f"{n.allowed[0]:g} to {n.allowed[1]:g}",
                n.meaning,
                n.source,
                n.label,
            )
            for name, n in numbers
        ),
    )
    lines += ["### Rules", "", "In order of rank. Names in braces are filled in when the rule speaks.", ""]
    for rule in sorted(RULES, key=lambda rule: profile.rule[rule.id].rank):
        text = profile.rule[rule.id]
        entry = f"answered by the entry `{rule.entry}`" if rule.entry else "answered by done"
        asks = f"{rule.action}: {_kind(rule.action)}"
        off = "" if text.enabled else f" **Off**: {text.off_because}."
        lines += [
            f"- **`{rule.id}`** (rank {text.rank}, {text.urgency}; {asks}; {entry}).{off}",
            f"  {text.what}",
            f"  Why: {text.why}",
            f"  Source: {text.source} ({text.label}).",
        ]
    lines += ["", *_screening(), *_setup(), *_adverse()]
    return "\n".join(lines).rstrip() + "\n"


def _screening() -> list[str]:
    screening = default_screening()
    lines = [f"## Screening, version {screening.version}", "", screening.overruled_by, ""]
    return lines + _table(
        ("question", "asked", "good answer", "else", "reason", "source", "label"),
        (
            (f"`{q.id}`", q.ask, q.good.value, q.outcome.value, q.reason, q.source, q.label)
            for q in screening.question
        ),
    )


def _setup() -> list[str]:
    checklist = default_checklist()
    lines = [f"## Set-up checklist, version {checklist.version}", "", "In working order.", ""]
    return lines + _table(
        ("line", "text", "why", "source", "label"),
        ((f"`{line.id}`", line.text, line.why, line.source, line.label) for line in checklist.line),
    )


def _adverse() -> list[str]:
    events = default_adverse_events()
    lines = [
        f"## Unwanted events, {events.scale} {events.scale_version}",
        "",
        f"Source: {events.source} ({events.label}). Scale and version are kept with every grade.",
        "",
    ]
    lines += _table(
        ("term", "1", "2", "3", "4", "5"),
        ((term.name, *(term.grades.get(grade, "-") for grade in range(1, 6))) for term in events.term),
    )
    redness = events.redness
    lines += [f"### {redness.name.capitalize()}", "", f"Source: {redness.source} ({redness.label}).", ""]
    return lines + _table(("step", "meaning"), enumerate(redness.steps))


if __name__ == "__main__":
    print(conduct_page(default_profile()), end="")
