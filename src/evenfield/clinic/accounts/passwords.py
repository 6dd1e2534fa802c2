"""Which passwords are accepted (SP 800-63B-4): length and a blocklist, no rules of composition.

Fifteen characters, or eight for an account that also needs a one-time code. A password is refused if it is
common, made of one common password repeated or continued by digits, a run along the keyboard or alphabet, or
mostly the name of the person or of this program.
"""

import re
from functools import cache

from django.contrib.auth.password_validation import CommonPasswordValidator
from django.core.exceptions import ValidationError

from evenfield.clinic.accounts.models import Account

LONG, SHORT, LONGEST = 15, 8, 256
_RUNS = (
    "abcdefghijklmnopqrstuvwxyz",
    "0123456789012345678901234567890",
    "qwertyuiopasdfghjklzxcvbnm",
    "qwertzuiopasdfghjklyxcvbnm",
    "azertyuiopqsdfghjklmwxcvbn",
    "1qaz2wsx3edc4rfv5tgb6yhn7ujm8ik9ol0p",
)


@cache
def _common() -> frozenset[str]:
    """The 20,000 most common passwords that come with Django."""
    return frozenset(CommonPasswordValidator().passwords)


def check_password_choice(password: str, account: Account, *, second_factor: bool | None = None) -> None:
    """Raise ValidationError with one clear sentence if this password must not be used for this account."""
    least = SHORT if (account.second_factor if second_factor is None else second_factor) else LONG
    if len(password) < least:
        raise ValidationError(f"Use at least {least} characters; several words with spaces are fine.")
    if len(password) > LONGEST:
        raise ValidationError(f"Use at most {LONGEST} characters.")
    if _is_guessable(password, [account.username, *account.name.split(), "evenfield"]):
        raise ValidationError(
            "This is among the first things someone would try; choose something less usual."
        )


def _is_guessable(password: str, names: list[str]) -> bool:
    plain = password.strip().lower()
    unit = _repeated_unit(re.sub(r"\s+", "", plain))
    letters = re.sub(r"[\W\d_]+", "", plain)
    words = {plain, unit, re.sub(r"[\W\d_]+$", "", plain), _repeated_unit(letters)}
    if any(word in _common() for word in words) or len(set(plain)) < 5:
        return True
    if any(unit in run * 2 or unit in (run * 2)[::-1] for run in _RUNS):
        return True
    rest = plain
    for name in names:
        if len(name) >= 3:
            rest = rest.replace(name.lower(), "")
    return len(rest) < len(plain) and len(re.sub(r"[\W\d_]+", "", rest)) < 5


def _repeated_unit(text: str) -> str:
    """The shortest piece of which the text is a repetition, the last one possibly cut short."""
    for length in range(1, len(text) // 2 + 1):
        if (text[:length] * (len(text) // length + 1))[: len(text)] == text:
            return text[:length]
    return text


def check_pin_choice(pin: str) -> None:
    """Raise ValidationError if this cannot be a PIN: six to twelve digits, no run and no repetition."""
    if not re.fullmatch(r"[0-9]{6,12}", pin):
        raise ValidationError("A PIN has six to twelve digits.")
    if len(_repeated_unit(pin)) <= 3 or any(pin in run or pin in run[::-1] for run in _RUNS):
        raise ValidationError("This PIN is too easy to guess; avoid runs and repetitions.")
