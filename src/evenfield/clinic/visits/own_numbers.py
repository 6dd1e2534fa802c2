"""Numbers of the clinic's own practice profile changed one by one, without writing its text by hand."""

import tomllib
from collections.abc import Iterator, Mapping, MutableMapping
from typing import Any

import tomlkit
from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator

from evenfield.conduct.profile import Number, PracticeProfile, default_profile


def numbers_of(profile: PracticeProfile) -> dict[str, Number]:
    """Every number under the name a clinic's text has for it: "numbers.skin_limit_c"."""
    found = {f"numbers.{name}": number for name, number in profile.numbers}
    return found | {
        f"starting_power_w.{region}": number for region, number in profile.starting_power_w.items()
    }


def with_numbers(text: str, changed: Mapping[str, float], who: str, version: str, name: str) -> str:
    """The clinic's text with other numbers: `changed` by name, all set by `who`. What is as shipped is left
    out; "" when nothing of the clinic's own is left. The rest of the text, its comments too, stays as it was.

    `text` is a profile that can be used, or "" for the shipped one.
    """
    shipped = numbers_of(default_profile())

    def change(own: MutableMapping[str, Any]) -> None:
        own["name"], own["version"] = name, version
        for key, value in changed.items():
            table, number = key.split(".")
            entries = own.setdefault(table, {})
            entries.pop(number, None)
            if value != shipped[key].value:
                entries[number] = {"value": int(value) if value == int(value) else value, "source": who}
            if not entries:
                del own[table]

    text = text or 'extends = "default"\n'
    plain = tomllib.loads(text)
    change(plain)
    if not any(isinstance(part, dict) and part for part in plain.values()):
        return ""
    own = tomlkit.parse(text)
    change(own)
    written = tomlkit.dumps(own)
    # dotted keys before a table can make it say something else: then without the comments
    return written if _read(written) == plain else tomlkit.dumps(plain)


def _read(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


class _NumberInput(forms.TextInput):
    """A number with a decimal point or a decimal comma."""

    def value_from_datadict(self, data: Mapping[str, Any], files: object, name: str) -> str:
        return str(data.get(name) or "").replace(",", ".")


class NumbersForm(forms.Form):
    """A field for every number in force. Only what its user changed counts: two people at two tablets do not
    undo each other's changes."""

    who = forms.CharField(
        label="Who set what you change now",
        required=False,
        max_length=300,
        help_text="A name and the ground, such as a page of the manual. Kept with each number.",
    )

    def __init__(self, data: Mapping[str, str] | None, profile: PracticeProfile) -> None:
        super().__init__(data)
        self.numbers = numbers_of(profile)
        for key, number in self.numbers.items():
            low, high = number.allowed
            allowed = f"Allowed is {low:g} to {high:g} {number.unit}."
            self.fields[key] = forms.FloatField(
                label=number.meaning,
                initial=f"{number.value:g}",
                show_hidden_initial=True,
                validators=[MinValueValidator(low, allowed), MaxValueValidator(high, allowed)],
                error_messages={"invalid": f"This is no number. {allowed}", "required": allowed},
                widget=_NumberInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
            )

    def changed(self) -> dict[str, float]:
        """What was changed and can be used, by name."""
        return {
            key: self.cleaned_data[key]
            for key in self.changed_data
            if key in self.numbers.keys() & self.cleaned_data
        }

    def clean(self) -> None:
        """Whoever changes a number says on whose word."""
        if self.changed() and not self.cleaned_data.get("who"):
            self.add_error("who", "Say who set it and why: every number of the clinic's own has its source.")

    def rows(self) -> Iterator[dict[str, object]]:
        """What the page shows for each number."""
        shipped = numbers_of(default_profile())
        for key, number in self.numbers.items():
            table, _, region = key.partition(".")
            where = f", {region.replace('_', ' ')}" if table == "starting_power_w" else ""
            words = f"{number.meaning}{where}"
            yield {"name": key, "words": words, "number": number, "field": self[key],
                   "own": number != shipped[key]}  # fmt: skip
