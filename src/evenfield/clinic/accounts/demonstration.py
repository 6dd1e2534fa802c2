"""The invented staff of the demonstration clinic."""

from evenfield.clinic.access import Role
from evenfield.clinic.accounts.models import Account

# Known to everyone who can read this file, which is why the accounts exist only in a demonstration.
PASSWORD = "quiet lamp over paper boats"
PIN = "480735"
STAFF = (
    ("owner", "Ondine Vasko", frozenset({Role.OWNER})),
    ("lead", "Levan Aduro", frozenset({Role.LEAD, Role.OPERATOR})),
    ("operator", "Oriel Tamsin", frozenset({Role.OPERATOR})),
    ("trainer", "Tove Berrin", frozenset({Role.TRAINER})),
)


def make_staff() -> None:
    """Create the accounts, all with the same password and PIN."""
    from django.contrib.auth.hashers import make_password

    password, pin = make_password(PASSWORD), make_password(PIN)
    for username, name, roles in STAFF:
        account = Account(username=username, name=name, password=password, pin=pin)
        account.roles = roles
        account.save()
