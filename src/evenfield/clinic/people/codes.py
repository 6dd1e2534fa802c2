"""Codes of people: six letters and digits, written ABC-123, and the codes one slip of the hand away."""

import re
import secrets

LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # without I, L, O and U; about 1.1e9 codes
_READ_AS = str.maketrans("ILO", "110")


def new_code() -> str:
    """A code at random."""
    return "".join(secrets.choice(LETTERS) for _ in range(6))


def read_code(text: str) -> str | None:
    """The code someone typed, None if it cannot be one; I, L and O are read as the digits they look like."""
    letters = re.sub(r"[\s-]", "", text.upper()).translate(_READ_AS)
    return letters if len(letters) == 6 and all(letter in LETTERS for letter in letters) else None


def near_codes(code: str) -> set[str]:
    """All codes that differ in one letter, or by two neighbours swapped."""
    one_wrong = {code[:i] + letter + code[i + 1 :] for i in range(6) for letter in LETTERS}
    swapped = {code[:i] + code[i + 1] + code[i] + code[i + 2 :] for i in range(5)}
    return (one_wrong | swapped) - {code}
