"""Entries in words, as lists and reports show them."""

from typing import Any

from evenfield.clinic.visits.models import Kind
from evenfield.clinic.visits.running import Row

_PLAIN = {
    "started": "field on for the first time",
    "power_would_not_rise": "power would not rise",
    "too_hot_all_over": "too hot all over",
    "paused": "paused, field off",
    "resumed": "resumed, field on",
    "stopped": "stopped, field off for good",
    "planned": "plan",
}
_SIDES = {
    "whole": "",
    "rising_angle": " on the side of rising angle",
    "falling_angle": " on the side of falling angle",
    "rising_level": " on the upper side",
    "falling_level": " on the lower side",
}


def said(row: Row) -> str:
    """One entry in words."""
    if row.kind == Kind.BEGIN:
        profile = row.content.get("profile", {})
        despite = f", although: {' '.join(row.content['despite'])}" if row.content.get("despite") else ""
        return f"visit begun, profile {profile.get('name')} version {profile.get('version')}{despite}"
    if row.kind == Kind.CLOSING:
        return "visit closed"
    if row.kind == Kind.ADVERSE:
        return f"unwanted event: {row.content['name']}, grade {row.content['grade']}"
    if row.kind == Kind.REPORTED:
        return f"unwanted event reported: {row.content['name']}, {row.content['told']}"
    return in_words(row.content.get("event", {}))


def in_words(event: dict[str, Any]) -> str:
    """An event of `conduct.events` in words."""
    kind = event.get("kind", "")
    match kind:
        case "power_set":
            return f"power {event['watts']:g} W"
        case "tuning_shown":
            return f"tuning {event['percent']:g} %"
        case "skin_reading":
            return f"skin {event['celsius']:.1f} °C, {event['zone']}"
        case "comfort":
            return f"comfort {event['score']}"
        case "sensation":
            return f"feels: {event['feeling'].replace('_', ' ')}{_quoted(event['words'])}"
        case "hot_spot":
            return f"hot spot: {_where(event)}"
        case "hot_spot_gone":
            return f"hot spot gone: {_where(event)}"
        case "panel_moved":
            way = "away from" if event["by_mm"] >= 0 else "towards"
            side = _SIDES.get(event["side"], "")
            return f"{event['panel']} moved{side} {abs(event['by_mm']):g} mm {way} the skin"
        case "noted":
            return f"note: {event['text']}"
        case "prompt_answered":
            how = "done" if event["answer"] == "done" else f"not now: {event['reason']}"
            return f"prompt “{event['prompt'].split(':')[0].replace('_', ' ')}”: {how}"
        case "skin_looked":
            broken = ", broken or blistered" if event["broken"] else ""
            return f"skin looked at: redness {event['redness']} of 4{broken}{_quoted(event['words'])}"
        case "correction":
            new = event.get("replacement")
            return f"correction: {in_words(new)}" if new else "correction: taken back"
        case _:
            return str(_PLAIN.get(kind, kind.replace("_", " ")))


def _where(event: dict[str, Any]) -> str:
    return str(event.get("zone") or event.get("panel") or "anywhere")


def _quoted(words: str) -> str:
    return f" “{words}”" if words else ""


def clock(at_s: float | None) -> str:
    """Minutes and seconds of the visit."""
    if at_s is None:
        return ""
    sign, whole = ("−" if at_s < 0 else ""), abs(int(at_s))
    return f"{sign}{whole // 60}:{whole % 60:02d}"
