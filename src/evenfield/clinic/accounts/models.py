"""Accounts of staff, their signed-in devices and their one-time codes."""

from datetime import datetime, timedelta
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.utils import timezone

from evenfield.clinic.access import Role, held_by
from evenfield.clinic.audit.actor import Actor
from evenfield.clinic.audit.recorded import Recorded, RecordedQuerySet


class AccountManager(BaseUserManager["Account"].from_queryset(RecordedQuerySet)):  # type: ignore[misc]
    """Finds accounts; names are compared without case."""

    def get_by_natural_key(self, username: str | None) -> "Account":
        """The account of this user name. Raises Account.DoesNotExist."""
        found = self.get(username=(username or "").strip().lower())
        assert isinstance(found, Account)
        return found


class Account(Recorded, AbstractBaseUser):
    """One member of staff."""

    unrecorded_fields: ClassVar = frozenset({"password", "pin", "totp_secret"})

    username = models.CharField("user name", max_length=60, unique=True)
    name = models.CharField("name", max_length=120)
    roles_text = models.CharField(max_length=100)
    is_active = models.BooleanField(default=True)
    pin = models.CharField(max_length=200, blank=True)
    totp_secret = models.CharField(max_length=64, blank=True)
    last_login = None

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    objects: ClassVar[AccountManager] = AccountManager()

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name

    @property
    def roles(self) -> frozenset[Role]:
        """The roles held."""
        return frozenset(Role(word) for word in self.roles_text.split())

    @roles.setter
    def roles(self, roles: frozenset[Role]) -> None:
        self.roles_text = " ".join(sorted(roles))

    @property
    def role_words(self) -> str:
        """The roles as written on the screen."""
        return ", ".join(role.title for role in Role if role in self.roles)

    @property
    def second_factor(self) -> bool:
        """Whether signing in needs a one-time code."""
        return bool(self.totp_secret)

    @property
    def is_staff(self) -> bool:
        """Django's own administration pages are not part of the site."""
        return False

    def has_perm(self, permission: str, obj: object = None) -> bool:
        """Whether one of the roles held grants this permission."""
        return self.is_active and permission in held_by(self.roles)

    def has_module_perms(self, label: str) -> bool:
        """Whether one of the roles held grants any permission of this part."""
        return self.is_active and any(name.startswith(f"{label}.") for name in held_by(self.roles))

    def actor(self, address: str, device: int | None = None) -> Actor:
        """This account as the one who acts."""
        return Actor(self.username, self.pk, self.roles_text, address, device)

    def clean_fields(self, exclude: Any = None) -> None:
        """User names are kept in small letters."""
        self.username = self.username.strip().lower()
        super().clean_fields(exclude)


class TotpStep(models.Model):
    """The last one-time code step an account has used, so that no code works twice."""

    account = models.OneToOneField(Account, on_delete=models.CASCADE, primary_key=True)
    step = models.BigIntegerField(default=0)


class RecoveryCode(models.Model):
    """A code to write down, for when the device that makes one-time codes is lost; each works once."""

    account = models.ForeignKey(Account, on_delete=models.CASCADE)
    digest = models.CharField(max_length=64)


class DeviceSession(models.Model):
    """One signed-in browser: listed to its owner, ended by them, locked when nobody is at it."""

    LIFETIME = timedelta(hours=12)
    PIN_TRIES = 5

    account = models.ForeignKey(Account, on_delete=models.CASCADE, related_name="devices")
    browser = models.CharField(max_length=120)
    address = models.CharField(max_length=60)
    started = models.DateTimeField()
    last_active = models.DateTimeField()
    locked = models.BooleanField(default=False)
    wrong_pins = models.PositiveSmallIntegerField(default=0)
    ended = models.DateTimeField(null=True)

    class Meta:
        verbose_name = "device"
        ordering = ("-last_active",)
        indexes: ClassVar = [models.Index(fields=["account", "ended"], name="device_open")]

    def runs(self, now: datetime) -> bool:
        """Whether the session is neither ended nor past its absolute limit."""
        return self.ended is None and now - self.started < self.LIFETIME

    def end(self) -> None:
        """End the session; its next request finds itself signed out."""
        self.ended = timezone.now()
        self.save(update_fields=["ended"])


class KnownDevice(models.Model):
    """A browser on which an account has signed in before; it has its own allowance of failed tries."""

    account = models.ForeignKey(Account, on_delete=models.CASCADE)
    digest = models.CharField(max_length=64, db_index=True)
    last_used = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["account", "digest"], name="known_once")]


class FailedTries(models.Model):
    """Consecutive failed tries at one account from one source; see throttle.py.

    The name tried is kept as a keyed digest only, because people type passwords into that field.
    """

    target = models.CharField(max_length=64)
    source = models.CharField(max_length=80)
    count = models.PositiveIntegerField(default=0)
    last = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["target", "source"], name="tries_of_source")]


class OneTimeCode(models.Model):
    """A short-lived code with which someone sets their password: the first time, or after losing it."""

    account = models.OneToOneField(Account, on_delete=models.CASCADE, primary_key=True)
    digest = models.CharField(max_length=64)
    expires = models.DateTimeField()
