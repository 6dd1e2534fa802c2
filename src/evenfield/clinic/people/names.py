"""Names as they are compared: without case, accents and signs, cut into threes of letters."""

import re
import unicodedata

# Letters that Unicode does not take apart into a base letter and an accent.
_APART = str.maketrans(
    {"ß": "ss", "ł": "l", "ø": "o", "đ": "d", "æ": "ae", "œ": "oe", "þ": "th", "ı": "i", "ð": "d"}
)


def plain(name: str) -> str:
    """Small letters of any script and digits only, words parted by one blank."""
    apart = unicodedata.normalize("NFKD", name.casefold().translate(_APART))
    letters = "".join(sign for sign in apart if not unicodedata.combining(sign))
    return re.sub(r"[\W_]+", " ", letters).strip()


def trigrams(name: str) -> set[str]:
    """The threes of letters of each word, with two blanks before it and one after.

    Source: the scheme of PostgreSQL's pg_trgm, whose documentation gives for "cat" the set
    "  c", " ca", "at ", "cat".
    """
    return {
        padded[start : start + 3]
        for word in plain(name).split()
        for padded in (f"  {word} ",)
        for start in range(len(padded) - 2)
    }
