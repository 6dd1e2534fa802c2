"""The practice profile of a visit: the clinic's own or the shipped one, under the limits of the manual."""

from evenfield.clinic.devices.models import Device
from evenfield.clinic.own_files import own_profile_file, profile_from, put_own_text
from evenfield.conduct.profile import PracticeProfile, ProfileError

_FROM_MANUAL = {
    "power_most_w": "power_most_w",
    "minutes_most": "session_most_minutes",
    "tuning_intended_percent": "tuning_least_percent",
}
_MANUAL = "limit of the device's manual as entered here"


def keep_profile(text: str) -> bool:
    """Put the clinic's own profile in place of the one there; "" goes back to the shipped one. The trail
    keeps what stood before and what stands now. Visits that run keep theirs. False if it is as it was.

    Raises ProfileError, and changes nothing, if the text cannot be used or the directory not be written to.
    """
    file = own_profile_file()
    profile_from(text)
    return put_own_text(
        file, text, kind="visits.practiceprofile", what="practice profile", refused=ProfileError
    )


def manual_limits(device: Device | None) -> dict[str, float]:
    """The manual's limits that the profile has a number for, by the number's name."""
    limits = device.manual_limits if device else {}
    return {name: limits[field] for field, name in _FROM_MANUAL.items() if field in limits}


def profile_of(text: str, limits: dict[str, float]) -> PracticeProfile:
    """The profile of a text, with the manual's limits where they are stricter: most power and longest time
    never above the manual's, tuning never below it."""
    profile = profile_from(text)
    data = profile.model_dump()
    numbers = data["numbers"]
    for name, limit in limits.items():
        number = numbers[name]
        low, high = number["allowed"]
        stricter = max if name == "tuning_least_percent" else min
        value = stricter(number["value"], min(max(limit, low), high))
        if value != number["value"]:
            numbers[name] = number | {"value": value, "source": _MANUAL}
    most = numbers["session_most_minutes"]["value"]
    if numbers["session_minutes"]["value"] > most:
        numbers["session_minutes"] |= {"value": most, "source": _MANUAL}
    return PracticeProfile.model_validate(data)
