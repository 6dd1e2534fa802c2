"""The people treated, and the index by which their names are found."""

from typing import Any, ClassVar

from django.core.validators import RegexValidator
from django.db import models, transaction

from evenfield.clinic.audit.recorded import Recorded
from evenfield.clinic.people.codes import new_code
from evenfield.clinic.people.names import plain, trigrams


class Person(Recorded):
    """One client of the clinic.

    A duplicate that was merged keeps its row and everything that points to it, and points to the kept row
    itself: whoever lists something about a person asks for all of `one_person()`. An erased person keeps
    number, code and the time of erasure.
    """

    blank_when_erased: ClassVar = {
        "given_name": "", "family_name": "", "other_names": "", "born": None, "phone": "", "email": "",
        "note": "", "active": False, "inactive_reason": "",
    }  # fmt: skip

    code = models.CharField(
        max_length=6, unique=True, editable=False, validators=[RegexValidator("^[0-9A-Z]{6}$")]
    )
    given_name = models.CharField("given name", max_length=120, blank=True)
    family_name = models.CharField("family name", max_length=120, blank=True)
    other_names = models.CharField(
        "other names", max_length=200, blank=True, help_text="Earlier names, names friends use."
    )
    born = models.DateField("date of birth", null=True, db_index=True)
    phone = models.CharField("telephone", max_length=60, blank=True)
    email = models.EmailField("e-mail", blank=True)
    note = models.TextField("note", blank=True)
    active = models.BooleanField(default=True)
    inactive_reason = models.CharField("reason", max_length=200, blank=True)
    hold_reason = models.CharField(
        "kept for a legal reason",
        max_length=200,
        blank=True,
        help_text="While this is filled, nothing can be erased.",
    )
    merged_into = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="merged")
    created = models.DateTimeField(auto_now_add=True)
    erased = models.DateTimeField(null=True)

    class Meta:
        ordering = ("family_name", "given_name", "pk")

    def __str__(self) -> str:
        return self.full_name

    def subject_id(self) -> int | None:
        """A person's row is about that person."""
        return int(self.pk) if self.pk else None

    @property
    def full_name(self) -> str:
        """Given and family name."""
        return "(erased)" if self.erased else f"{self.given_name} {self.family_name}".strip()

    @property
    def shown_code(self) -> str:
        """The code in two groups."""
        return f"{self.code[:3]}-{self.code[3:]}"

    @property
    def kept(self) -> "Person":
        """The record that is kept: this one, or the one it was merged into."""
        kept = self
        while kept.merged_into is not None:
            kept = kept.merged_into
        return kept

    def one_person(self) -> list["Person"]:
        """This record and all records merged into it, directly or through others."""
        everyone, edge = [self], [self.pk]
        while edge:
            more = list(Person.objects.filter(merged_into__in=edge))
            everyone += more
            edge = [one.pk for one in more]
        return everyone

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Give a new person a code nobody has, and keep the index of names in step."""
        with transaction.atomic():
            while not self.code:
                code = new_code()
                if not Person.objects.filter(code=code).exists():
                    self.code = code
            super().save(*args, **kwargs)
            self._index_names()

    def _index_names(self) -> None:
        names = plain(f"{self.given_name} {self.family_name} {self.other_names}")
        wanted = trigrams(names)
        held = set(NameTrigram.objects.filter(person=self).values_list("letters", flat=True))
        NameTrigram.objects.filter(person=self, letters__in=held - wanted).delete()
        NameTrigram.objects.bulk_create(
            NameTrigram(person=self, letters=letters) for letters in wanted - held
        )


class NameTrigram(models.Model):
    """Three letters that occur in a person's names; the same on every database."""

    letters = models.CharField(max_length=3)
    person = models.ForeignKey(Person, on_delete=models.CASCADE, db_index=False)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["letters", "person"], name="trigram_once")]
        indexes: ClassVar = [models.Index(fields=["person"], name="trigram_person")]
