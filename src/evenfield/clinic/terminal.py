"""What the command line does with a clinic's record; each function sets Django up for one data directory."""

import io
import os
from pathlib import Path
from typing import TYPE_CHECKING

from evenfield.clinic.home import HOME_VARIABLE, home_path, prepare_home

if TYPE_CHECKING:
    from evenfield.clinic.audit.trail import Verification


def start_django(home: Path | None = None, *, demonstration: bool = False) -> Path:
    """Prepare the data directory and Django; once per process. Returns the directory. Raises HomeError."""
    place = (home or home_path()).expanduser().resolve()
    prepare_home(place, demonstration=demonstration)
    os.environ[HOME_VARIABLE] = str(place)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "evenfield.clinic.settings")
    import django

    django.setup()
    return place


def migrate() -> None:
    """Bring the database to the present shape, and check that every route states who may use it."""
    from django.core.management import call_command

    call_command("check", stdout=io.StringIO())
    call_command("migrate", interactive=False, verbosity=0)


def verify_audit(home: Path | None = None) -> "Verification":
    """Find any edit, removal or reordering made behind the application's back (`evenfield audit verify`)."""
    start_django(home)
    from evenfield.clinic.audit.trail import verify_chain

    return verify_chain()


def recover_account(username: str, home: Path | None = None, *, drop_second_factor: bool = False) -> str:
    """A one-time code to set this account's password with (`evenfield recover`).

    Raises LookupError with one clear sentence if there is no such account.
    """
    start_django(home)
    migrate()
    from evenfield.clinic.accounts.models import Account
    from evenfield.clinic.accounts.recovery import recover

    try:
        return recover(username, drop_second_factor=drop_second_factor)
    except Account.DoesNotExist as error:
        names = ", ".join(Account.objects.order_by("username").values_list("username", flat=True)) or "none"
        raise LookupError(f"There is no account {username!r}; accounts here: {names}.") from error
