"""The clinic itself: its name, time zone, way of writing dates, units, and how soon screens lock."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from evenfield.clinic.audit.recorded import Recorded
from evenfield.clinic.pages.zones import computer_time_zone


class Clinic(Recorded):
    """One row; read it with `Clinic.present()`."""

    name = models.CharField(max_length=120, default="Clinic")
    time_zone = models.CharField(max_length=60, default="UTC")
    locale = models.CharField(max_length=10, default="en-gb")
    length_unit = models.CharField(
        max_length=2, default="cm", choices=[("cm", "centimetres, kilograms"), ("in", "inches, pounds")]
    )
    idle_minutes = models.PositiveSmallIntegerField(
        default=5, validators=[MinValueValidator(1), MaxValueValidator(60)]
    )

    def __str__(self) -> str:
        return self.name

    @property
    def month_first(self) -> bool:
        """Whether dates such as 03/05/1980 begin with the month here."""
        return bool(self.locale == "en-us")

    @classmethod
    def present(cls) -> "Clinic":
        """The clinic, with the computer's own time zone until someone has chosen one."""
        found = cls.objects.first()
        return found if isinstance(found, Clinic) else cls(time_zone=computer_time_zone())
