"""What the clinic works with: devices with the limits of their manuals, panels, and rooms."""

from typing import TYPE_CHECKING, Any, ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from evenfield.applicator.panel import PanelShape
from evenfield.clinic.audit.recorded import Recorded

if TYPE_CHECKING:
    from evenfield.field.device import DeviceProfile

MANUAL_LIMITS = ("power_most_w", "minutes_most", "gap_least_mm", "tuning_intended_percent")


class TreatmentRoom(Recorded):
    """A room in which visits take place, with its usual air."""

    name = models.CharField("name", max_length=60, unique=True)
    air_c = models.FloatField(
        "usual air temperature (°C)",
        null=True,
        blank=True,
        validators=[MinValueValidator(10), MaxValueValidator(40)],
    )
    air_speed_m_s = models.FloatField(
        "usual air speed at the region (m/s)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(5)],
        help_text="About 0.1 in still air; measured with the fan as it is used.",
    )
    in_use = models.BooleanField("in use", default=True)

    class Meta:
        ordering = ("name",)
        verbose_name = "room"

    def __str__(self) -> str:
        return self.name


class Device(Recorded):
    """One apparatus of the clinic: its manual's limits as someone here read them, its electrical profile."""

    name = models.CharField("name", max_length=80, help_text="As people here call it.")
    number = models.CharField("serial or inventory number", max_length=60, blank=True)
    power_most_w = models.FloatField(
        "most set power (W)",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(1000)],
    )
    minutes_most = models.FloatField(
        "most minutes with power",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(180)],
    )
    gap_least_mm = models.FloatField(
        "least gap (mm)", null=True, blank=True, validators=[MinValueValidator(2), MaxValueValidator(80)]
    )
    tuning_intended_percent = models.FloatField(
        "intended tuning (%)",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(100)],
    )
    manual = models.CharField(
        "manual: title and edition",
        max_length=200,
        blank=True,
        help_text="Where the four limits below are written, with the page.",
    )
    profile = models.TextField(
        "electrical profile",
        blank=True,
        help_text="Empty: the generic device. Otherwise your own values, in the form of the generic one.",
    )
    in_use = models.BooleanField("in use", default=True)

    class Meta:
        ordering = ("name", "number")
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["name", "number"], name="device_once"),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.number})" if self.number else self.name

    @property
    def manual_limits(self) -> dict[str, float]:
        """The limits entered, by field name; those left empty are not in it."""
        return {name: value for name in MANUAL_LIMITS if (value := getattr(self, name)) is not None}

    def clean(self) -> None:
        """A limit needs the manual it is from; a profile must be readable."""
        from evenfield.field.device import DeviceError

        problems: dict[str, Any] = {}
        if self.manual_limits and not self.manual.strip():
            problems["manual"] = "Say which manual, in which edition, gives these limits."
        try:
            self.device_profile()
        except DeviceError as error:
            problems["profile"] = f"{str(error)[:1].upper()}{str(error)[1:]}."
        if problems:
            raise ValidationError(problems)

    def device_profile(self) -> "DeviceProfile":
        """The profile for the engine: the clinic's own, or the generic one. Raises DeviceError."""
        from evenfield.field.device import load_device_profile, read_device_profile

        if not self.profile.strip():
            return load_device_profile("generic")
        return read_device_profile(self.profile, str(self))


class PanelProfile(Recorded):
    """A kind of panel the clinic has; its measures are those of the plate itself."""

    SHAPES: ClassVar = [
        (PanelShape.FLAT.value, "flat"),
        (PanelShape.CURVED.value, "curved, follows the skin"),
    ]

    name = models.CharField("name", max_length=60)
    device = models.ForeignKey(
        Device,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="panels",
        verbose_name="belongs to",
        help_text="Empty: to every device.",
    )
    shape = models.CharField("shape", max_length=10, choices=SHAPES, default=PanelShape.FLAT.value)
    width_mm = models.FloatField(
        "width across the region (mm)",
        validators=[MinValueValidator(20), MaxValueValidator(900)],
        help_text="If curved: along the curve.",
    )
    length_mm = models.FloatField(
        "length along the region (mm)", validators=[MinValueValidator(20), MaxValueValidator(600)]
    )
    in_use = models.BooleanField("in use", default=True)

    class Meta:
        ordering = ("name",)
        verbose_name = "panel"

    def __str__(self) -> str:
        return f"{self.name} ({self.width_mm:g} × {self.length_mm:g} mm)"
