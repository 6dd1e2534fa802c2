"""Getting back in from the terminal of the server."""

from evenfield.clinic.accounts import codes, throttle
from evenfield.clinic.accounts.models import Account, RecoveryCode
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.parts import close_doors


def recover(username: str, *, drop_second_factor: bool = False) -> str:
    """A one-time code with which this account's password can be set; failed tries are forgotten, and the
    account's tokens and private calendar address end, as whoever knew the password may have made them.

    The second factor stays unless dropped on purpose: a reset does not go around it (ASVS 6.4.3).
    Raises Account.DoesNotExist.
    """
    account = Account.objects.get_by_natural_key(username)
    with acting(Actor("terminal")):
        throttle.forget_failures(account.username)
        close_doors(account)
        if drop_second_factor and account.totp_secret:
            account.totp_secret = ""
            account.save()
            RecoveryCode.objects.filter(account=account).delete()
        return codes.issue(account)
