"""The practice profile: the numbers in force, and the clinic's own on top of the shipped ones."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.own_files import OwnTextForm, own_profile_file
from evenfield.clinic.visits.own_numbers import NumbersForm, with_numbers
from evenfield.clinic.visits.profiles import keep_profile, profile_of
from evenfield.conduct.profile import PracticeProfile, ProfileError, RuleText

_EXAMPLE = """\
extends = "default"
name = ""      # the clinic's own name for it
version = "1"

[numbers.skin_limit_c]
value = 39
source = ""    # who set it, or the manual
"""


_WORDS = {
    "label": "Our own numbers and rules",
    "help_text": "Only what differs from the shipped profile, each with its source. Empty: the shipped one.",
}


@requires("visits.steps")
def practice_profile(request: StaffRequest) -> HttpResponse:
    """Show the numbers in force, and keep the clinic's own: changed one by one, or all of it as text."""
    own, trouble = _own()
    as_text = request.method == "POST" and "text" in request.POST
    form = OwnTextForm(request.POST if as_text else None, initial={"text": own or _EXAMPLE}, **_WORDS)
    context: dict[str, Any] = {"form": form, "trouble": trouble}
    if as_text and form.is_valid() and _kept(request, form, "text", form.cleaned_data["text"]):
        return redirect("practice-profile")
    if not trouble:
        profile = profile_of(own, {})
        numbers = NumbersForm(request.POST if request.method == "POST" and not as_text else None, profile)
        if numbers.is_valid() and _kept(request, numbers, None, _renumbered(request, numbers, own, profile)):
            return redirect("practice-profile")
        context |= {"profile": profile, "numbers": numbers, "rules": _rules(profile)}
    return render(request, "visits/practice.html", context)


def _kept(request: StaffRequest, form: forms.Form, field: str | None, text: str) -> bool:
    """Whether the text is in force now; if not, the form says why."""
    try:
        kept = keep_profile(text)
    except ProfileError as error:
        form.add_error(field, str(error))
        return False
    if kept:
        messages.success(request, "Kept. Visits begun from now on follow it; running ones keep theirs.")
    else:
        messages.info(request, "Nothing was changed.")
    return True


def _renumbered(request: StaffRequest, numbers: NumbersForm, own: str, profile: PracticeProfile) -> str:
    """The clinic's text with what was changed; its version is the moment of the change."""
    if not numbers.changed():
        return own
    version = f"{timezone.localtime():%Y-%m-%d %H:%M}"
    name = profile.name if own else request.clinic.name or "ours"
    return with_numbers(own, numbers.changed(), numbers.cleaned_data["who"], version, name)


def _rules(profile: PracticeProfile) -> list[tuple[str, RuleText]]:
    """The rules with the numbers in their words, and what each visit fills in by its name: "‹feeling›"."""
    found = []
    for name, rule in profile.rule.items():
        words = profile.number_words | {field: f"‹{field.replace('_', ' ')}›" for field in rule.fields}
        said = {part: getattr(rule, part).format_map(words) for part in ("what", "why")}
        found.append((name, rule.model_copy(update=said)))
    return found


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
