"""Forms about accounts."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from evenfield.clinic.access import Role
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.accounts.passwords import LONG, SHORT, check_password_choice, check_pin_choice
from evenfield.clinic.pages.forms import LOCALES, time_zones

_USER_NAME = "Two to sixty of a to z, digits, dots, dashes or underscores."
_ROLE_CHOICES = [(role.value, role.title) for role in Role]
_PASSWORD_HELP = (
    f"At least {LONG} characters ({SHORT} for an account with one-time codes). Any characters, spaces too; "
    "pasting from a password manager is welcome."
)


def _password(
    label: str, *, new: bool = False, help_text: str = "", required: bool = True
) -> forms.CharField:
    return forms.CharField(
        label=label,
        strip=False,
        max_length=1000,
        help_text=help_text,
        required=required,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password" if new else "current-password"}),
    )


class SignInForm(forms.Form):
    """Everything asked at once, so that no answer tells which part was wrong."""

    username = forms.CharField(
        label="User name",
        max_length=60,
        widget=forms.TextInput(
            attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    password = _password("Password")
    code = forms.CharField(
        label="One-time code",
        required=False,
        max_length=40,
        help_text="Only if you have set one up. A recovery code works too, once.",
        widget=forms.TextInput(
            attrs={"autocomplete": "one-time-code", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )


class NewPasswordForm(forms.Form):
    """A new password, twice; the account it is for comes with `account`."""

    new_password = _password("New password", new=True, help_text=_PASSWORD_HELP)
    again = _password("New password again", new=True)

    def __init__(self, *args: Any, account: Account, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.account = account

    def clean(self) -> dict[str, Any]:
        """Both alike, and acceptable for this account."""
        given: dict[str, Any] = super().clean() or {}
        first = given.get("new_password")
        if first:
            try:
                check_password_choice(first, self.account)
            except ValidationError as error:
                self.add_error("new_password", error)
            if given.get("again") and given["again"] != first:
                self.add_error("again", "The two passwords differ.")
        return given


def _checked(account: Account, given: str) -> str:
    if not account.check_password(given):
        raise ValidationError("This is not your present password.")
    return given


class PresentPasswordMixin(forms.Form):
    """Account changes ask for the present password again (ASVS 7.5.1)."""

    account: Account

    def clean_present_password(self) -> str:
        """The present password is right."""
        return _checked(self.account, str(self.cleaned_data["present_password"]))


class ChangePasswordForm(PresentPasswordMixin, NewPasswordForm):
    """Present and new password."""

    present_password = _password("Present password")
    keep_doors = forms.BooleanField(label="Let these go on working", required=False)
    field_order = ("present_password", "new_password", "again", "keep_doors")

    def __init__(self, *args: Any, doors: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = (
            f"Without your password work: {'; '.join(doors)}. They end with the old password unless ticked."
        )
        self.fields["keep_doors"].help_text = words
        if not doors:
            del self.fields["keep_doors"]


class PinForm(PresentPasswordMixin, forms.Form):
    """A PIN for coming back quickly to a locked screen."""

    present_password = _password("Present password")
    pin = forms.CharField(
        label="PIN",
        max_length=12,
        help_text="Six to twelve digits. It opens the locked screen of a device where you are signed in.",
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, account: Account, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.account = account

    def clean_pin(self) -> str:
        """An acceptable PIN."""
        pin = str(self.cleaned_data["pin"])
        check_pin_choice(pin)
        return pin


class StartCodesForm(PresentPasswordMixin, forms.Form):
    """Start using one-time codes: the present password, and a code to show that the device works."""

    present_password = _password("Present password")
    code = forms.CharField(
        label="Code shown by your device",
        max_length=12,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "one-time-code"}),
    )

    def __init__(self, *args: Any, account: Account, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.account = account


class StopCodesForm(PresentPasswordMixin, forms.Form):
    """Stop using one-time codes; the password must then be long enough alone."""

    present_password = _password("Present password")

    def __init__(self, *args: Any, account: Account, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.account = account

    def clean_present_password(self) -> str:
        """Right, and long enough without codes."""
        given = super().clean_present_password()
        if len(given) < LONG:
            raise ValidationError(
                f"Without one-time codes a password needs {LONG} characters; change it first."
            )
        return given


class UnlockForm(forms.Form):
    """Back to a locked screen."""

    secret = forms.CharField(
        label="PIN or password",
        strip=False,
        max_length=1000,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "autofocus": True}),
    )


class MakeCodeForm(PresentPasswordMixin, forms.Form):
    """A code for someone who lost their password: an open screen is not enough to make one."""

    present_password = _password("Your own password")

    def __init__(self, *args: Any, by: Account, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.account = by


class StaffForm(forms.Form):
    """A member of staff, as the owner sees them; saved with the password of `by`, who saves it."""

    name = forms.CharField(
        label="Name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    username = forms.RegexField(
        r"^[A-Za-z0-9._-]{2,60}$",
        label="User name",
        help_text=_USER_NAME,
        error_messages={"invalid": f"This cannot be a user name. {_USER_NAME}"},
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    roles = forms.MultipleChoiceField(
        label="Roles", choices=_ROLE_CHOICES, widget=forms.CheckboxSelectMultiple
    )
    is_active = forms.BooleanField(label="May sign in", required=False, initial=True)
    present_password = _password("Your own password")

    def __init__(self, *args: Any, by: Account, account: Account | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.by = by
        self.account = account
        if account:
            del self.fields["username"]
        else:
            del self.fields["is_active"]

    def clean_present_password(self) -> str:
        """That of whoever saves, so that an open screen is not enough (ASVS 7.5.1)."""
        return _checked(self.by, str(self.cleaned_data["present_password"]))

    def clean_username(self) -> str:
        """Not yet taken."""
        username = str(self.cleaned_data["username"]).lower()
        if Account.objects.filter(username=username).exists():
            raise ValidationError("This user name is taken.")
        return username

    def clean(self) -> dict[str, Any]:
        """The last owner who may sign in stays one."""
        given: dict[str, Any] = super().clean() or {}
        stays = Role.OWNER in given.get("roles", []) and given.get("is_active", True)
        if self.account and Role.OWNER in self.account.roles and not stays:
            others = Account.objects.filter(is_active=True).exclude(pk=self.account.pk)
            if not any(Role.OWNER in other.roles for other in others):
                self.add_error("roles", "This is the only owner; make someone else an owner first.")
        return given


class CodeForm(forms.Form):
    """User name and one-time code, for setting a password."""

    username = forms.CharField(
        label="User name",
        max_length=60,
        widget=forms.TextInput(
            attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    code = forms.CharField(
        label="Code",
        max_length=40,
        help_text="Sixteen letters and digits, as you were given them.",
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )
    new_password = _password("New password", new=True, help_text=_PASSWORD_HELP)
    again = _password("New password again", new=True)

    def clean(self) -> dict[str, Any]:
        """Both passwords alike."""
        given: dict[str, Any] = super().clean() or {}
        if given.get("new_password") and given.get("again") and given["again"] != given["new_password"]:
            self.add_error("again", "The two passwords differ.")
        return given


class FirstRunForm(NewPasswordForm):
    """The clinic and its owner, on the first run."""

    code = forms.CharField(
        label="Code from the terminal",
        max_length=40,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )
    clinic = forms.CharField(label="Name of the clinic", max_length=120)
    time_zone = forms.ChoiceField(
        label="Time zone",
        help_text="Every hour of the record is told in it.",
        choices=lambda: [("", "choose"), *time_zones()],
    )
    locale = forms.ChoiceField(label="Dates and times", choices=LOCALES)
    name = forms.CharField(
        label="Your name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    username = forms.RegexField(
        r"^[A-Za-z0-9._-]{2,60}$",
        label="Your user name",
        help_text=_USER_NAME,
        error_messages={"invalid": f"This cannot be a user name. {_USER_NAME}"},
        widget=forms.TextInput(
            attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    also = forms.MultipleChoiceField(
        label="You are the owner. You are also",
        help_text="Lead clinician: only who may decide, being licensed, that a refused visit goes on.",
        required=False,
        choices=[choice for choice in _ROLE_CHOICES if choice[0] != Role.OWNER],
        widget=forms.CheckboxSelectMultiple,
    )
    field_order = (
        "code",
        "clinic",
        "time_zone",
        "locale",
        "name",
        "username",
        "also",
        "new_password",
        "again",
    )

    def clean(self) -> dict[str, Any]:
        """The password is judged with the names just given."""
        self.account.username = str(self.cleaned_data.get("username", "")).lower()
        self.account.name = str(self.cleaned_data.get("name", ""))
        return super().clean()
