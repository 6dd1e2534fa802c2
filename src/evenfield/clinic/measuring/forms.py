"""Forms of measuring: what to measure, and a correction."""

from collections.abc import Mapping, Sequence

from django import forms

from evenfield.body import RegionKind
from evenfield.clinic.measuring.agreement import Settled, settle
from evenfield.clinic.measuring.plan import REGION_WORDS, PlanError, SetPlan, read_plan
from evenfield.clinic.measuring.protocols import Protocol, Protocols, Quantity
from evenfield.clinic.measuring.slips import Doubt
from evenfield.clinic.measuring.taking import apart_words
from evenfield.clinic.measuring.units import TypedError, TypedUnit

USUAL, NONE = "usual", "none"


class StartForm(forms.Form):
    """What to measure this time."""

    region = forms.ChoiceField(
        label="Region",
        choices=[(kind.value, REGION_WORDS[kind].capitalize()) for kind in RegionKind],
        required=False,
    )
    side = forms.ChoiceField(
        label="Side",
        choices=[("left", "Left"), ("right", "Right"), ("", "None (abdomen)")],
        widget=forms.RadioSelect,
        required=False,
    )
    girth = forms.ChoiceField(label="Girths")
    levels = forms.CharField(label="Levels of the girths", required=False, max_length=60)
    fat = forms.ChoiceField(label="Fat thickness")
    fat_levels = forms.CharField(label="Levels of fat thickness", required=False, max_length=60)
    weight = forms.BooleanField(label="Weight too", required=False)

    def __init__(
        self, data: Mapping[str, str] | None, *, protocols: Protocols, unit: TypedUnit, length_unit: str
    ) -> None:
        super().__init__(data, initial={"girth": USUAL, "fat": NONE, "side": ""})
        self.protocols, self.unit, self.length_unit = protocols, unit, length_unit
        self.plan: SetPlan | None = None
        girths = [(one.id, one.name) for one in protocols.protocol if one.quantity is Quantity.GIRTH]
        self._field("girth").choices = [
            (USUAL, "First protocol for the region"),
            (NONE, "No girths"),
            *girths,
        ]
        fats = [(one.id, one.name) for one in protocols.of(Quantity.FAT)]
        self._field("fat").choices = [(NONE, "Not measured"), *fats]
        example = ", ".join(("-3", "0", "3") if unit.word == "in" else ("-8", "0", "8"))
        for name in ("levels", "fat_levels"):
            self.fields[name].help_text = (
                f"Distances from the landmark in {unit.word}, above it positive, for instance {example}. "
                "Empty: as the protocol says."
            )

    def _field(self, name: str) -> forms.ChoiceField:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        return field

    def clean(self) -> None:
        """Make the plan, or say why it cannot be."""
        said = self.cleaned_data
        region = said.get("region", "")
        girth = said.get("girth", NONE)
        if girth == USUAL:
            first = (
                next(iter(self.protocols.of(Quantity.GIRTH, RegionKind(region))), None) if region else None
            )
            girth = first.id if first else NONE
        try:
            asked = {
                "region": region,
                "side": said.get("side", ""),
                "girth": "" if girth == NONE else girth,
                "levels": self._levels("levels"),
                "fat": "" if said.get("fat", NONE) == NONE else said["fat"],
                "fat_levels": self._levels("fat_levels"),
                "weight": "1" if said.get("weight") else "",
            }
            if not (asked["girth"] or asked["fat"]):
                asked["region"] = asked["side"] = ""
            self.plan = read_plan(asked, self.protocols, self.length_unit)
        except PlanError as error:
            raise forms.ValidationError(str(error)) from None

    def _levels(self, name: str) -> str:
        """Levels as typed in the clinic's unit, in mm; commas or blanks or semicolons between them."""
        text = self.cleaned_data.get(name, "") or ""
        levels = []
        for part in text.replace(";", " ").replace(", ", " ").split():
            sign, size = (-1.0, part[1:]) if part[:1] in "-−" else (1.0, part.removeprefix("+"))
            try:
                value = 0.0 if size.strip("0.,") == "" else self.unit.read(size)
            except TypedError as error:
                raise PlanError(f"Levels: {error} Put a blank or “; ” between two distances.") from None
            levels.append(f"{sign * value * 1e3:.1f}")
        return ",".join(levels)


READING_FIELDS = ("first", "second", "third", "fourth", "fifth", "sixth")  # the most a protocol may ask for


class CorrectForm(forms.Form):
    """A number of an earlier set read anew from the notes, or withdrawn."""

    what = forms.ChoiceField(
        label="What is to be done",
        choices=[
            ("correct", "Put other readings in its place"),
            ("withdraw", "Withdraw it: it does not count"),
        ],
        widget=forms.RadioSelect,
        initial="correct",
    )
    reason = forms.CharField(
        label="Reason", min_length=10, max_length=500, widget=forms.Textarea(attrs={"rows": 3})
    )
    sure = forms.BooleanField(label="The numbers are right as they stand", required=False)
    asked_about = forms.CharField(required=False, max_length=200, widget=forms.HiddenInput)

    def __init__(self, data: Mapping[str, str] | None, unit: TypedUnit, protocol: Protocol) -> None:
        super().__init__(data)
        self.unit, self.protocol = unit, protocol
        self.names = READING_FIELDS[: protocol.readings_most]
        for place, name in enumerate(self.names, 1):
            further = ", if there was one" if place > protocol.readings else ""
            field = forms.CharField(
                label=f"Reading {place}{further} ({unit.word})", required=False, max_length=12
            )
            field.widget.attrs = {"inputmode": "decimal", "autocomplete": "off"}
            self.fields[name] = field
        self.order_fields(["what", *self.names, "reason", "sure"])

    def clean(self) -> None:
        """Read the numbers."""
        self.typed: list[str] = []
        self.readings: list[float] = []
        self.settled: Settled | None = None
        if self.cleaned_data.get("what") != "correct":
            return
        for name in self.names:
            text = str(self.cleaned_data.get(name, "")).strip()
            if text:
                try:
                    self.readings.append(self.unit.read(text))
                    self.typed.append(text)
                except TypedError as error:
                    self.add_error(name, str(error))
        if not self.readings and not self.errors:
            self.add_error("first", "Give the readings, or withdraw the number.")

    def settle(self) -> None:
        """What the readings come to, `settled`; another one is asked for as when they are taken."""
        if not self.readings:
            return
        settled = settle(self.readings, self.protocol)
        wanted = self.names[min(len(self.readings), len(self.names) - 1)]
        if settled.value <= 0:
            self.add_error("first", f"This comes to nothing by the protocol ({self.protocol.conversion}).")
        elif len(self.readings) < self.protocol.readings:
            words = (
                f"The protocol asks for {self.protocol.readings} readings; without them withdraw the number."
            )
            self.add_error(wanted, words)
        elif settled.want_another:
            words = apart_words(self.readings, self.unit, self.protocol)
            self.add_error(wanted, f"{words}: give one more, or withdraw the number.")
        else:
            self.settled = settled

    def confirms(self, doubts: Sequence[Doubt]) -> bool:
        """Whether there is nothing to ask, or just this was confirmed for just these readings; else the form
        remembers for which it asks."""
        about = " ".join(self.typed)
        if not doubts or (self.cleaned_data["sure"] and self.cleaned_data["asked_about"] == about):
            return True
        self.data = {**self.data, "asked_about": about}
        return False
