"""The practice profile: the numbers in force, and the clinic's own text on top of the shipped one."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.own_files import own_profile_file
from evenfield.clinic.visits.profiles import keep_profile, profile_of
from evenfield.conduct.profile import PracticeProfile, ProfileError, default_profile

_EXAMPLE = """\
extends = "default"
name = ""      # the clinic's own name for it
version = "1"

[numbers.skin_limit_c]
value = 39
source = ""    # who set it, or the manual
"""


class PracticeForm(forms.Form):
    """The clinic's own profile as text."""

    text = forms.CharField(
        label="Our own numbers and rules",
        required=False,
        strip=False,
        max_length=100_000,
        widget=forms.Textarea(attrs={"rows": 16, "spellcheck": "false", "class": "code"}),
        help_text="Only what differs from the shipped profile, each with its source. Empty: the shipped one.",
    )

    def clean_text(self) -> str:
        """With one kind of line end."""
        text = str(self.cleaned_data["text"]).replace("\r\n", "\n")
        return text if text.strip() else ""


@requires("visits.steps")
def practice_profile(request: StaffRequest) -> HttpResponse:
    """Show the numbers in force, and keep the clinic's own."""
    own, trouble = _own()
    form = PracticeForm(request.POST or None, initial={"text": own or _EXAMPLE})
    if request.method == "POST" and form.is_valid():
        try:
            keep_profile(form.cleaned_data["text"])
        except ProfileError as error:
            form.add_error("text", str(error))
        else:
            messages.success(request, "Kept. Visits begun from now on follow it; running ones keep theirs.")
            return redirect("practice-profile")
    context: dict[str, Any] = {"form": form, "trouble": trouble}
    if not trouble:
        profile = profile_of(own, {})
        context |= {"profile": profile, "numbers": _numbers(profile), "own": bool(own)}
    return render(request, "visits/practice.html", context)


def _own() -> tuple[str, str]:
    """The clinic's own text, and what is wrong with it."""
    try:
        text = own_profile_file().read_text(encoding="utf-8", errors="replace")
    except FileNotFoundError:
        return "", ""
    except OSError as error:
        return "", f"{own_profile_file().name} cannot be read: {error.strerror}"
    try:
        profile_of(text, {})
    except ProfileError as error:
        return text, str(error)
    return text, ""


def _numbers(profile: PracticeProfile) -> list[dict[str, Any]]:
    """Every number with the name a clinic writes, its allowed range, and whether it is the clinic's own."""
    shipped = default_profile()
    found = [(f"numbers.{name}", number, getattr(shipped.numbers, name)) for name, number in profile.numbers]
    found += [
        (f"starting_power_w.{region}", number, shipped.starting_power_w[region])
        for region, number in profile.starting_power_w.items()
    ]
    return [{"name": name, "number": number, "own": number != before} for name, number, before in found]
