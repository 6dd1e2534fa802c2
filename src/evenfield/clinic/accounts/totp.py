"""One-time codes from a device in the pocket (RFC 6238), each accepted once."""

import time

import pyotp
from django.db import transaction

from evenfield.clinic.accounts.models import Account, TotpStep

_SECONDS = 30
_DRIFT = 1  # steps a clock may be off either way


def new_secret() -> str:
    """A new shared secret, 160 bits in base 32."""
    return pyotp.random_base32()


def address(account: Account, secret: str) -> str:
    """What the QR code holds."""
    return pyotp.TOTP(secret, interval=_SECONDS).provisioning_uri(
        name=account.username, issuer_name="evenfield"
    )


def accept(account: Account, secret: str, code: str, now: float | None = None) -> bool:
    """Whether the code is right and not used before; accepting it uses up this one and older ones."""
    digits = code.replace(" ", "")
    present = int(time.time() if now is None else now) // _SECONDS
    generator = pyotp.TOTP(secret, interval=_SECONDS)
    for step in range(present - _DRIFT, present + _DRIFT + 1):
        if pyotp.utils.strings_equal(digits, generator.generate_otp(step)):
            with transaction.atomic():
                TotpStep.objects.get_or_create(account=account)
                return TotpStep.objects.filter(account=account, step__lt=step).update(step=step) == 1
    return False
