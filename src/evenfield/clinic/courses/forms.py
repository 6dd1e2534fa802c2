"""Forms about courses, visits, the rules for booking and the calendar's address."""

from datetime import date
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q

from evenfield.clinic.access import grants
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.courses.booking import Slot
from evenfield.clinic.courses.models import DAYS, BookingRules, CalendarAddress, Course, Visit
from evenfield.clinic.devices.models import Device, TreatmentRoom


class CourseForm(forms.ModelForm):  # type: ignore[type-arg]
    """What a course is for and how many visits it has."""

    class Meta:
        model = Course
        fields = ("region", "side", "aim", "protocol_note", "visits_planned", "spacing_days")
        widgets: ClassVar = {
            "aim": forms.Textarea(attrs={"rows": 3}),
            "protocol_note": forms.Textarea(attrs={"rows": 3}),
        }


class SlotForm(forms.ModelForm):  # type: ignore[type-arg]
    """When a visit is, and what it takes up."""

    class Meta:
        model = Visit
        fields = ("planned_start", "minutes", "room", "device", "staff")
        widgets: ClassVar = {
            "planned_start": forms.DateTimeInput(
                format="%Y-%m-%dT%H:%M", attrs={"type": "datetime-local", "step": "300"}
            )
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        held = self.instance
        used = Q(in_use=True)
        self._choose("room", TreatmentRoom.objects.filter(used | Q(pk=held.room_id)))
        self._choose("device", Device.objects.filter(used | Q(pk=held.device_id)))
        self._choose("staff", treating_staff(held.staff_id))

    def _choose(self, name: str, among: Any) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = among
        field.empty_label = "not decided"

    def slot(self) -> Slot:
        """The time asked for; only when the form is valid."""
        given = self.cleaned_data
        return Slot(given["planned_start"], given["minutes"], given["room"], given["device"], given["staff"])


def treating_staff(also: int | None = None) -> Any:
    """Accounts that may see visits, and the one numbered `also`."""
    roles = Q(pk=also)
    for role in grants()["courses.view"]:
        roles |= Q(is_active=True, roles_text__contains=role.value)
    return Account.objects.filter(roles).order_by("name")


class MoveForm(SlotForm):
    """Another time for a visit, and perhaps for those after it."""

    also_later = forms.BooleanField(
        label="Move the later visits of this course by as many days", required=False
    )


class CourseStateForm(forms.ModelForm):  # type: ignore[type-arg]
    """Whether a course goes on, and why not."""

    class Meta:
        model = Course
        fields = ("state", "state_reason")

    def clean(self) -> dict[str, Any]:
        """Stopping needs a reason."""
        given: dict[str, Any] = super().clean() or {}
        if given.get("state") == "stopped" and not given.get("state_reason", "").strip():
            self.add_error("state_reason", "Say why it is stopped.")
        return given


class VisitReasonForm(forms.Form):
    """Why a visit does not take place."""

    reason = forms.CharField(
        label="Reason", max_length=200, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )


class BookingRulesForm(forms.ModelForm):  # type: ignore[type-arg]
    """How this clinic books."""

    days = forms.MultipleChoiceField(
        label="Open on",
        choices=[(str(place + 1), day) for place, day in enumerate(DAYS)],
        widget=forms.CheckboxSelectMultiple,
    )

    class Meta:
        model = BookingRules
        fields = (
            "visits", "spacing_days", "spacing_least_days", "minutes", "opens", "closes", "days",
            "names_in_calendars",
        )  # fmt: skip
        widgets: ClassVar = {
            "opens": forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
            "closes": forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["days"].initial = list(self.instance.open_days)

    def clean(self) -> dict[str, Any]:
        """Opens before it closes; the least spacing is not more than the usual one."""
        given: dict[str, Any] = super().clean() or {}
        if given.get("opens") and given.get("closes") and given["opens"] >= given["closes"]:
            self.add_error("closes", "This is not after the time at which it opens.")
        least, usual = given.get("spacing_least_days"), given.get("spacing_days")
        if least is not None and usual is not None and least > usual:
            self.add_error("spacing_least_days", f"This is more than the usual {usual} days.")
        self.instance.open_days = "".join(sorted(given.get("days", [])))
        return given


class CalendarAddressForm(forms.ModelForm):  # type: ignore[type-arg]
    """Which visits the calendar holds."""

    class Meta:
        model = CalendarAddress
        fields = ("whole_clinic",)


class DayForm(forms.Form):
    """The day a calendar shows."""

    day = forms.DateField(label="Go to", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))

    def clean_day(self) -> date:
        """Within the years a calendar can show."""
        day = self.cleaned_data["day"]
        assert isinstance(day, date)
        if not 1970 <= day.year <= 2200:
            raise ValidationError("Choose a day between 1970 and 2200.")
        return day
