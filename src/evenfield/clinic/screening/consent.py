"""The text a client signs: the clinic's own newest version, or the shipped example until there is one."""

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from django.conf import settings

from evenfield.clinic.screening.models import ConsentText

# A drawing is moves and lines in whole numbers within the canvas: nothing else is kept or shown.
DRAWING = re.compile(r"(M\d{1,4} \d{1,4}( L\d{1,4} \d{1,4})*)( M\d{1,4} \d{1,4}( L\d{1,4} \d{1,4})*)*")
LONGEST_DRAWING = 40_000


@dataclass(frozen=True)
class Text:
    """A version of the consent text; `example` if it is the shipped one, which a clinic must replace."""

    version: str
    text: str
    example: bool = False


def may_be_signed(text: Text) -> bool:
    """Whether clients may sign it; the shipped example only where all clients are invented."""
    return not text.example or bool(settings.EVENFIELD_DEMONSTRATION)


@cache
def _shipped() -> Text:
    file = resources.files("evenfield.clinic.screening") / "data" / "consent.toml"
    content = tomllib.loads(file.read_text(encoding="utf-8"))
    return Text(content["version"], content["text"].strip(), example=True)


def present_text() -> Text:
    """The text to sign now."""
    own = ConsentText.objects.order_by("-number").first()
    return _shipped() if own is None else Text(f"{own.number}", own.text)


@dataclass(frozen=True)
class Sheet:
    """The sheet a client takes home, and how it is marked."""

    version: str
    note: str
    before: tuple[str, ...]
    after: tuple[str, ...]
    call: tuple[str, ...]


@cache
def sheet() -> Sheet:
    """The shipped cautions and after-care."""
    file = resources.files("evenfield.clinic.screening") / "data" / "sheet.toml"
    content = tomllib.loads(file.read_text(encoding="utf-8"))
    return Sheet(
        content["version"],
        content["note"],
        tuple(content["before"]),
        tuple(content["after"]),
        tuple(content["call"]),
    )
