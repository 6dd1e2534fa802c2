"""The trail: who did what to whose record, when and from where; chained, and free of personal content."""

from typing import ClassVar

from django.apps import apps
from django.db import models

from evenfield.clinic.audit.chain import ChainedRow


class Action(models.TextChoices):
    """What was done. The first four are those of ISO 27789:2021; the others are events beside the record."""

    CREATE = "create", "created"
    READ = "read", "looked at"
    UPDATE = "update", "changed"
    ERASE = "erase", "erased"
    DELETE = "delete", "removed"
    MERGE = "merge", "merged"
    FIND = "find", "searched"
    EXPORT = "export", "exported"
    PRINT = "print", "printed"
    SIGN_IN = "sign-in", "signed in"
    SIGN_IN_FAILED = "sign-in-failed", "failed to sign in"
    SIGN_OUT = "sign-out", "signed out"
    LOCK = "lock", "locked the screen"
    UNLOCK = "unlock", "unlocked the screen"
    REFUSED = "refused", "was refused"
    CODE = "code", "was given a one-time code"
    RESTORE = "restore", "restored a backup"
    TAKE_IN = "take-in", "took in from a file"


class AuditEvent(ChainedRow):
    """One entry of the trail. Holds identifiers only; before and after are in `AuditDetail`."""

    action = models.CharField(max_length=20, choices=Action.choices)
    actor_id = models.BigIntegerField(null=True)
    actor = models.CharField(max_length=150)
    roles = models.CharField(max_length=100, blank=True)
    address = models.CharField(max_length=60, blank=True)
    device_id = models.BigIntegerField(null=True)
    kind = models.CharField(max_length=60, blank=True)
    object_id = models.CharField(max_length=60, blank=True)
    subject_id = models.BigIntegerField(null=True)
    fields = models.TextField(blank=True)
    note = models.CharField(max_length=200, blank=True)
    detail_digest = models.CharField(max_length=64, blank=True)

    class Meta:
        verbose_name = "trail"
        ordering = ("-number",)
        indexes: ClassVar = [
            models.Index(fields=["subject_id", "number"], name="audit_subject"),
            models.Index(fields=["actor_id", "number"], name="audit_actor"),
            models.Index(fields=["action", "number"], name="audit_action"),
            models.Index(fields=["at"], name="audit_at"),
        ]

    @property
    def thing(self) -> str:
        """The kind of the object in words."""
        try:
            return str(apps.get_model(self.kind)._meta.verbose_name) if self.kind else ""
        except LookupError:
            return self.kind

    @property
    def what(self) -> str:
        """The object in words, with its number."""
        return f"{self.thing} {self.object_id}".strip()


class AuditDetail(models.Model):
    """Before and after of one entry, with the salt of its digest; removed when its subject is erased."""

    append_only: ClassVar[str] = "after erasure"

    event = models.OneToOneField(
        AuditEvent, on_delete=models.PROTECT, primary_key=True, related_name="detail", db_constraint=True
    )
    subject_id = models.BigIntegerField(null=True, db_index=True)
    salt = models.CharField(max_length=64)
    content = models.TextField()
