"""Which questions are asked here: the clinic's own file if there is one, else the shipped ones."""

from pathlib import Path

from django.conf import settings

from evenfield.clinic.own_files import own_text, put_own_text
from evenfield.conduct.data_file import shipped_text
from evenfield.conduct.screening import Screening, ScreeningError, default_screening, read_screening


def own_questions_file() -> Path:
    """Where a clinic may put its own questions, in the form of the shipped ones."""
    return Path(settings.EVENFIELD_HOME) / "screening.toml"


def questions_text() -> str:
    """The text of the questions in force. Raises ScreeningError if the clinic's own cannot be read."""
    own = own_text(own_questions_file(), "screening", ScreeningError)
    return shipped_text(own_questions_file().name) if own is None else own


def keep_questions(text: str) -> bool:
    """Put the clinic's own questions in place of those in force; "" or the shipped text goes back to the
    shipped ones. Other questions need another version, since answers are kept with theirs.

    Raises ScreeningError, and changes nothing, if the text cannot be used. False if it is as it was.
    """
    file = own_questions_file()
    if text == shipped_text(file.name):
        text = ""
    new = read_screening(text, file.name) if text else default_screening()
    try:
        now = present_questions()
    except ScreeningError:
        now = None
    if now is not None and now != new and now.version == new.version:
        raise ScreeningError(
            f'version is "{new.version}" as in the questions in force: give other questions another version'
        )
    return put_own_text(file, text, kind="screening.questions", what="screening", refused=ScreeningError)


def present_questions() -> Screening:
    """The questions of this clinic.

    Raises ScreeningError if the clinic's own file is there but cannot be used: the shipped questions never
    stand in for it unseen.
    """
    text = own_text(own_questions_file(), "screening", ScreeningError)
    if text is None:
        return default_screening()
    return read_screening(text, own_questions_file().name)
