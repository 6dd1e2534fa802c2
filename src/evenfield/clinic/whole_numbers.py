"""Whole numbers from addresses and forms."""

_MOST_DIGITS = 18  # fits the 64 bits of a database's number


def whole_number(text: str) -> int | None:
    """The number written in ASCII digits; None for anything else, as "²", "-1" or a longer one."""
    fits = text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS
    return int(text) if fits else None
