"""Which questions are asked here: the clinic's own file if there is one, else the shipped ones."""

from pathlib import Path

from django.conf import settings

from evenfield.clinic.own_files import own_text
from evenfield.conduct.screening import Screening, ScreeningError, default_screening, read_screening


def own_questions_file() -> Path:
    """Where a clinic may put its own questions, in the form of the shipped ones."""
    return Path(settings.EVENFIELD_HOME) / "screening.toml"


def present_questions() -> Screening:
    """The questions of this clinic.

    Raises ScreeningError if the clinic's own file is there but cannot be used: the shipped questions never
    stand in for it unseen.
    """
    text = own_text(own_questions_file(), "screening", ScreeningError)
    if text is None:
        return default_screening()
    return read_screening(text, own_questions_file().name)
