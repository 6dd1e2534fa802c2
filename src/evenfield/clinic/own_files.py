"""Files by which a clinic puts data of its own in place of the shipped ones: what stands in them, or none."""

from pathlib import Path
from typing import Any

from django import forms
from django.conf import settings
from django.db import transaction

from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.conduct.profile import PracticeProfile, ProfileError, default_profile, read_profile


class OwnTextForm(forms.Form):
    """Such a file as text; pages give its label and help."""

    text = forms.CharField(
        required=False,
        strip=False,
        max_length=100_000,
        widget=forms.Textarea(attrs={"rows": 16, "spellcheck": "false", "class": "code"}),
    )

    def __init__(self, *args: Any, label: str, help_text: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["text"].label, self.fields["text"].help_text = label, help_text

    def clean_text(self) -> str:
        """With one kind of line end; "" for nothing but space."""
        text = str(self.cleaned_data["text"]).replace("\r\n", "\n")
        return text if text.strip() else ""


def own_text(file: Path, what: str, refused: type[ValueError]) -> str | None:
    """The text of a clinic's own file; None if there is none.

    Raises `refused` with one sentence, that begins with `what`, if the file is there but cannot be read: what
    is shipped never stands in for it unseen.
    """
    try:
        return file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise refused(f"{what} {file.name}: cannot be read: {error}") from None


def put_own_text(file: Path, text: str, *, kind: str, what: str, refused: type[ValueError]) -> bool:
    """Put a text, checked by the caller, in place of the clinic's own file; "" goes back to the shipped one.
    The trail keeps what stood before and what stands now. False if it is as it was.

    Raises `refused`, and changes nothing, if the directory cannot be written to.
    """
    try:
        before = file.read_text(encoding="utf-8", errors="replace") if file.exists() else ""
        if text == before:
            return False
        with transaction.atomic():
            trail.record(Action.UPDATE, kind=kind, before={"text": before}, after={"text": text}, note=what)
            draft = file.with_name(f".{file.name}.new")
            draft.write_text(text, encoding="utf-8")
            if text:
                draft.replace(file)
            else:
                draft.unlink()
                file.unlink(missing_ok=True)
    except OSError as error:
        raise refused(f"{what} {file.name}: cannot be written: {error.strerror}") from None
    return True


def own_profile_file() -> Path:
    """Where a clinic may put its own practice profile, in the form docs/conduct.md describes."""
    return Path(settings.EVENFIELD_HOME) / "practice.toml"


def profile_text() -> str:
    """The clinic's own practice profile as text; "" for the shipped one.

    Raises ProfileError if the file is there but cannot be used.
    """
    text = own_text(own_profile_file(), "practice profile", ProfileError)
    if text is None:
        return ""
    read_profile(text, own_profile_file().name)
    return text


def profile_from(text: str) -> PracticeProfile:
    """The profile of a text kept from `profile_text`, "" for the shipped one. Raises ProfileError."""
    return read_profile(text, own_profile_file().name) if text else default_profile()


def skin_limit_c() -> float:
    """The clinic's limit for skin, °C. Raises ProfileError as `profile_text` does."""
    return float(profile_from(profile_text()).numbers.skin_limit_c.value)
