"""Telling whether someone is who they say: password, and one-time code where the account uses one."""

from typing import Any

from django.contrib.auth.hashers import check_password, make_password
from django.http import HttpRequest

from evenfield.clinic.accounts import codes, totp
from evenfield.clinic.accounts.models import Account


class AccountBackend:
    """Django authentication backend for `Account`. It does not count tries; see signing_in.py."""

    def authenticate(
        self, request: HttpRequest | None, username: str = "", password: str = "", code: str = "", **_: Any
    ) -> Account | None:
        """The account, if everything given is right; the time taken does not tell whether the name exists."""
        account = Account.objects.filter(username=username.strip().lower(), is_active=True).first()
        if account is None or not account.has_usable_password():
            make_password(password)
            return None
        if not check_password(password, account.password):
            return None
        if account.second_factor and not (
            totp.accept(account, account.totp_secret, code) or codes.use_recovery_code(account, code)
        ):
            return None
        assert isinstance(account, Account)
        return account

    def get_user(self, user_id: int) -> Account | None:
        """The account of a session, if it may still be used."""
        found = Account.objects.filter(pk=user_id, is_active=True).first()
        return found if isinstance(found, Account) else None
