"""Personal tokens for programs, and when each was last used."""

from datetime import datetime
from typing import ClassVar

from django.db import models

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.recorded import Recorded


class ApiToken(Recorded):
    """One token of one account: which permissions, until when. Only the digest of the secret is kept."""

    unrecorded_fields: ClassVar = frozenset({"digest"})

    account = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="api_tokens")
    name = models.CharField("what it is for", max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    permissions_text = models.CharField(max_length=400)
    created = models.DateTimeField(auto_now_add=True)
    expires = models.DateTimeField()
    ended = models.DateTimeField(null=True)

    class Meta:
        ordering = ("-created",)
        verbose_name = "token"

    def __str__(self) -> str:
        return f"{self.name} of {self.account.username}"

    @property
    def permissions(self) -> frozenset[str]:
        """The permissions stated when it was made."""
        return frozenset(self.permissions_text.split())

    def works(self, now: datetime) -> bool:
        """Whether it may be used at all: neither ended nor expired, and its owner may still sign in."""
        return bool(self.ended is None and now < self.expires and self.account.is_active)

    def allows(self, permission: str) -> bool:
        """Whether it states this permission and its owner holds it now."""
        return permission in self.permissions and self.account.has_perm(permission)


class ApiTokenUse(models.Model):
    """When a token was last used; beside it, so that reading does not fill the trail twice."""

    token = models.OneToOneField(ApiToken, on_delete=models.CASCADE, primary_key=True, related_name="use")
    at = models.DateTimeField()
