"""Advice in words: how an option is placed and powered, what it trades, what its powers rest on."""

from __future__ import annotations

from evenfield.case import PowerKind
from evenfield.heat.power import PowerCurve
from evenfield.tolerance.advised import Option, PlacementAdvice
from evenfield.tolerance.search import WORTH_MIN

_BESIDE = {
    "tighter": "a fifth of the bound",
    "looser": "twice the bound",
    "shorter": "ten minutes less",
}


def told(option: Option) -> str:
    """The moves, panels and ways in the order of the case: inner: gap +1 mm, tilt along -2°."""
    if not option.moves:
        return "placed as planned"
    names = {"gap": "gap {:+d} mm", "tilt_across": "tilt across {:+d}°", "tilt_along": "tilt along {:+d}°"}
    parts = {
        p.name: [
            form.format(option.moves[p.name, way])
            for way, form in names.items()
            if (p.name, way) in option.moves
        ]
        for p in option.case.panels
    }
    return "; ".join(f"{panel}: {', '.join(part)}" for panel, part in parts.items() if part)


def power_words(curve: PowerCurve) -> str:
    """14 W, from 5 min 11 W; until 30 min. A pause is told as one."""
    begun = [
        (f"from {start / 60.0:g} min " if start > 0.0 else "")
        + (f"{watts:.3g} W" if watts > 0.0 else "pause")
        for start, watts in zip(curve.start_s, curve.watts, strict=True)
    ]
    return f"{', '.join(begun)}; until {curve.end_s / 60.0:g} min"


def power_rests_on(advice: PlacementAdvice) -> str:
    """What kind of power it is and what is assumed of it."""
    session = advice.options[0].case.session
    if session.power_kind is not PowerKind.SET:
        return "Powers are what the tissue takes up; the device's set power is higher."
    share = session.absorbed_fraction
    return (
        f"Powers are what the device is set to. They hang on the share that the tissue takes up, "
        f"{share.low:g} to {share.high:g} in this case"
        + (": assumed until the device has been calibrated." if _assumed(advice) else ".")
        + " Where it is less in truth, fat stays cooler than told; where it is more, skin gets hotter."
    )


def _assumed(advice: PlacementAdvice) -> bool:
    return "session.absorbed_fraction" in {a.key for a in advice.options[0].case.defaults}


def trades(advice: PlacementAdvice) -> list[str]:
    """What the best option costs and gains against the plan and against the others, in sentences."""
    plan, best = advice.options[0], advice.options[1]
    limit = f"{advice.wish.skin_limit_c:g} °C"
    lines = [
        f"Against the plan, skin passes {limit} in {100 * best.chance:.0f} % instead of "
        f"{100 * plan.chance:.0f} % of the members, and fat is in the band for {best.score:.1f} instead of "
        f"{plan.score:.1f} min."
    ]
    stay = next((o for o in advice.options if o.kind == "stay"), None)
    if stay is not None:
        lines.append(f"Moving the panels {_change(best.score - stay.score)} at the same bound.")
    else:
        lines.append(
            f"No move of the panels within reach brings {WORTH_MIN:g} min more in the band than leaving them "
            "as planned."
        )
    if any(abs(amount) == _most(advice, way) for (_panel, way), amount in best.moves.items()):
        lines.append("Some moves end where the search stops: hands, arm and manual may allow less, or more.")
    lines += [
        f"{_BESIDE[o.kind].capitalize()} {_change(o.score - best.score)}."
        for o in advice.options
        if o.kind in _BESIDE
    ]
    return lines


def _most(advice: PlacementAdvice, way: str) -> int:
    return advice.wish.gap_mm if way == "gap" else advice.wish.tilt_deg


def _change(minutes: float) -> str:
    if abs(minutes) < 0.05:
        return "changes nothing in the minutes in the band"
    return f"{'brings' if minutes > 0 else 'costs'} {abs(minutes):.1f} min in the band"
