"""Courses and their visits, and the clinic's rules for booking them."""

from datetime import date, datetime, time, timedelta
from typing import Any, ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

from evenfield.body import RegionKind
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.recorded import Recorded
from evenfield.clinic.devices.models import Device, TreatmentRoom
from evenfield.clinic.people.models import Person

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


class CourseState(models.TextChoices):
    """Where a course stands."""

    OPEN = "open", "open"
    FINISHED = "finished", "finished"
    STOPPED = "stopped", "stopped"


class VisitState(models.TextChoices):
    """Where a visit stands."""

    PLANNED = "planned", "planned"
    RUNNING = "running", "running"
    DONE = "done", "done"
    MISSED = "missed", "missed"
    CANCELLED = "cancelled", "cancelled"


REGIONS = [(kind.value, kind.value.replace("_", " ")) for kind in RegionKind]
SIDES = [("", "no side, or both"), ("left", "left"), ("right", "right")]
COUNTED = (VisitState.PLANNED, VisitState.RUNNING, VisitState.DONE)
"""States in which a visit takes up time and counts towards its course."""


class Course(Recorded):
    """A planned series of visits for one region of one person."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="courses")
    region = models.CharField("region", max_length=20, choices=REGIONS)
    side = models.CharField("side", max_length=5, choices=SIDES, blank=True)
    visits_planned = models.PositiveSmallIntegerField(
        "number of visits", validators=[MinValueValidator(1), MaxValueValidator(40)]
    )
    spacing_days = models.PositiveSmallIntegerField(
        "days from visit to visit", validators=[MinValueValidator(1), MaxValueValidator(180)]
    )
    aim = models.TextField("what the client hopes for, in their own words", blank=True)
    protocol_note = models.TextField("protocol", blank=True, help_text="What is to be done at each visit.")
    state = models.CharField(max_length=10, choices=CourseState.choices, default=CourseState.OPEN)
    state_reason = models.CharField("reason", max_length=200, blank=True)
    created = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("-created", "-pk")
        indexes: ClassVar = [models.Index(fields=["created"], condition=Q(state="open"), name="course_open")]

    def __str__(self) -> str:
        return f"{self.region_words}, {self.visits_planned} visits"

    def subject_id(self) -> int | None:
        """Whose course it is."""
        return int(self.person_id)

    @property
    def region_words(self) -> str:
        """Side and region as written on the screen."""
        return f"{self.side} {self.get_region_display()}".strip()

    @property
    def region_kind(self) -> RegionKind:
        """The region for the engine."""
        return RegionKind(self.region)


class Visit(Recorded):
    """One appointment of a course.

    `number` is the order in which it was put into the course; it never changes and is never given again.
    `plan` is what the planning page saved: {"case": TOML text of the case, "forecast": summary, "at": time}.
    """

    course = models.ForeignKey(Course, on_delete=models.PROTECT, related_name="visits")
    number = models.PositiveSmallIntegerField(editable=False)
    planned_start = models.DateTimeField("start", db_index=True)
    minutes = models.PositiveSmallIntegerField(
        "minutes in the room", validators=[MinValueValidator(5), MaxValueValidator(480)]
    )
    room = models.ForeignKey(
        TreatmentRoom, on_delete=models.PROTECT, null=True, blank=True, verbose_name="room"
    )
    device = models.ForeignKey(Device, on_delete=models.PROTECT, null=True, blank=True)
    staff = models.ForeignKey(Account, on_delete=models.PROTECT, null=True, blank=True)
    state = models.CharField(max_length=10, choices=VisitState.choices, default=VisitState.PLANNED)
    reason = models.CharField("reason", max_length=200, blank=True)
    despite = models.CharField(
        max_length=100, blank=True, help_text="Kinds of warnings someone confirmed when booking."
    )
    plan = models.JSONField(default=dict, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    revised = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ("planned_start", "number")
        constraints: ClassVar = [models.UniqueConstraint(fields=["course", "number"], name="visit_once")]
        indexes: ClassVar = [models.Index(fields=["state", "planned_start"], name="visit_state_start")]

    def __str__(self) -> str:
        return f"visit {self.number}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Note when it was last changed; calendars ask for that."""
        if self._content() != self.__dict__.get("_as_read"):
            self.revised = timezone.now()
        super().save(*args, **kwargs)

    def subject_id(self) -> int | None:
        """Whose visit it is."""
        return int(self.course.person_id)

    @property
    def person(self) -> Person:
        """Whose visit it is: the record it was planned for, which may be merged into another since."""
        person = self.course.person
        assert isinstance(person, Person)
        return person

    @property
    def day(self) -> date:
        """The day at the clinic on which it took place or is to."""
        day: date = timezone.localtime(self.started_at or self.planned_start).date()
        return day

    @property
    def planned_end(self) -> datetime:
        """When the room is free again."""
        end: datetime = self.planned_start + timedelta(minutes=self.minutes)
        return end


class BookingRules(Recorded):
    """How this clinic books; one row, read it with `BookingRules.present()`.

    The figures it starts with are assumptions (label A): no published standard gives them.
    """

    visits = models.PositiveSmallIntegerField(
        "usual number of visits", default=6, validators=[MinValueValidator(1), MaxValueValidator(40)]
    )
    spacing_days = models.PositiveSmallIntegerField(
        "usual days from visit to visit",
        default=14,
        validators=[MinValueValidator(1), MaxValueValidator(180)],
    )
    spacing_least_days = models.PositiveSmallIntegerField(
        "least days from visit to visit of the same region",
        default=7,
        validators=[MinValueValidator(0), MaxValueValidator(180)],
    )
    minutes = models.PositiveSmallIntegerField(
        "usual minutes in the room", default=75, validators=[MinValueValidator(5), MaxValueValidator(480)]
    )
    opens = models.TimeField("opens", default=time(9))
    closes = models.TimeField("closes", default=time(18))
    open_days = models.CharField(max_length=7, default="12345")  # 1 is Monday
    names_in_calendars = models.BooleanField(
        "put names of clients into calendars outside the record",
        default=False,
        help_text="Otherwise codes only. A calendar elsewhere is beyond the record's locks and erasure.",
    )

    def __str__(self) -> str:
        return "rules for booking"

    @classmethod
    def present(cls) -> "BookingRules":
        """The rules in force."""
        found = cls.objects.first()
        return found if isinstance(found, BookingRules) else cls()

    def open_on(self, weekday: int) -> bool:
        """Whether the clinic is open on this day of the week (0 is Monday)."""
        return str(weekday + 1) in self.open_days


class CalendarAddress(Recorded):
    """The address under which one account's calendar program reads the visits, without signing in.

    Only the digest of its token is kept. Deleting the row ends it.
    """

    unrecorded_fields: ClassVar = frozenset({"digest"})

    account = models.OneToOneField(
        Account, on_delete=models.CASCADE, primary_key=True, related_name="calendar_address"
    )
    digest = models.CharField(max_length=64, unique=True)
    whole_clinic = models.BooleanField("all visits, not only my own", default=False)
    created = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"calendar address of {self.account.username}"
