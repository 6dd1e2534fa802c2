"""Codes that work once: from the terminal, for new staff, or written down for a lost second factor."""

import hashlib
import hmac
import secrets
from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from evenfield.clinic.accounts.models import Account, OneTimeCode, RecoveryCode
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.home import write_private

_LETTERS = "ABCDEFGHJKMNPQRSTVWXYZ23456789"  # without I, L, O, U, 0 and 1, which are misread
LIFETIME = timedelta(hours=24)
_FIRST_RUN_TRIES = 10


def new_code() -> str:
    """Sixteen letters in groups of four: 78 bits (SP 800-63B-4 asks 64 of recovery codes)."""
    letters = "".join(secrets.choice(_LETTERS) for _ in range(16))
    return "-".join(letters[i : i + 4] for i in range(0, 16, 4))


def _digest(code: str) -> str:
    plain = "".join(letter for letter in code.upper() if letter in _LETTERS)
    return hashlib.sha256(f"evenfield {plain}".encode()).hexdigest()


def issue(account: Account) -> str:
    """A new code with which this account's password can be set once, within a day; an older one is void."""
    code = new_code()
    with transaction.atomic():
        OneTimeCode.objects.update_or_create(
            account=account, defaults={"digest": _digest(code), "expires": timezone.now() + LIFETIME}
        )
        trail.record(Action.CODE, kind="accounts.account", object_id=account.pk)
    return code


def matches(account: Account, code: str) -> bool:
    """Whether this is the account's present code."""
    issued = OneTimeCode.objects.filter(account=account, expires__gt=timezone.now()).first()
    return issued is not None and hmac.compare_digest(issued.digest, _digest(code))


def use_up(account: Account) -> bool:
    """Make the account's code void; False if it already was (two tries at once)."""
    return OneTimeCode.objects.filter(account=account).delete()[0] == 1


def new_recovery_codes(account: Account, count: int = 8) -> list[str]:
    """New codes for a lost second factor, in place of the old ones."""
    codes = [new_code() for _ in range(count)]
    with transaction.atomic():
        RecoveryCode.objects.filter(account=account).delete()
        RecoveryCode.objects.bulk_create(
            RecoveryCode(account=account, digest=_digest(code)) for code in codes
        )
    return codes


def use_recovery_code(account: Account, code: str) -> bool:
    """Use up one recovery code; False if it is not one of the account's."""
    return RecoveryCode.objects.filter(account=account, digest=_digest(code)).delete()[0] == 1


def _first_run_file() -> Path:
    return Path(settings.EVENFIELD_HOME) / "first-run-code"


def start_first_run() -> str:
    """A new code for creating the owner's account; its digest is kept in the data directory."""
    code = new_code()
    write_private(_first_run_file(), f"{_digest(code)} {_FIRST_RUN_TRIES}\n")
    return code


def try_first_run(code: str) -> bool:
    """Whether this is the first-run code; after ten wrong tries it is void until the server starts anew."""
    try:
        digest, tries = _first_run_file().read_text(encoding="utf-8").split()
    except (FileNotFoundError, ValueError):
        return False
    if int(tries) <= 0:
        return False
    if hmac.compare_digest(digest, _digest(code)):
        return True
    write_private(_first_run_file(), f"{digest} {int(tries) - 1}\n")
    return False


def end_first_run() -> None:
    """Make the first-run code void."""
    _first_run_file().unlink(missing_ok=True)
