"""The device manual's limits, as the clinic entered them, against a plan."""

from evenfield.case import Case, PowerKind
from evenfield.clinic.devices.models import Device


def beyond(case: Case, device: Device | None) -> dict[str, str]:
    """What lies beyond the manual: a sentence by the form's field; of panels in the order of the case."""
    if device is None:
        return {}
    found: dict[str, str] = {}
    where = f"the manual of {device} allows ({device.manual}, as entered here)"
    watts, minutes = max(case.session.power.watts), case.session.power.end_s / 60
    most = device.power_most_w
    if most is not None and watts > most:
        kind = "" if case.session.power_kind is PowerKind.SET else " absorbed, and so more set,"
        found["session.power"] = f"{watts:g} W{kind} is more than the {most:g} W that {where}."
    if device.minutes_most is not None and minutes > device.minutes_most:
        found["session.minutes"] = (
            f"{minutes:g} min is longer than the {device.minutes_most:g} min that {where}."
        )
    for n, placed in enumerate(case.placed):
        nearest = round(1e3 * placed.nearest_gap_m, 1)
        if device.gap_least_mm is not None and nearest < device.gap_least_mm:
            found[f"p{n}.gap_mm"] = (
                f"The {placed.panel.name} panel is {nearest:g} mm from the skin at its nearest, less than "
                f"the {device.gap_least_mm:g} mm that {where}."
            )
    return found


def told(device: Device | None) -> list[str]:
    """The limits in words, with what is not entered."""
    if device is None:
        return ["No device is chosen, so no limit of a manual is checked here."]
    words = {
        "power_most_w": "most power {:g} W",
        "minutes_most": "longest {:g} min",
        "gap_least_mm": "least gap {:g} mm",
        "tuning_intended_percent": "intended tuning {:g} %",
    }
    limits = device.manual_limits
    lines = [text.format(limits[name]) for name, text in words.items() if name in limits]
    absent = [text.partition(" {")[0] for name, text in words.items() if name not in limits]
    said = "; ".join(lines)
    out = [f"{said[:1].upper()}{said[1:]} ({device.manual})."] if lines else []
    if absent:
        out.append(f"Not entered for {device}, so not checked here: {', '.join(absent)}.")
    return out
