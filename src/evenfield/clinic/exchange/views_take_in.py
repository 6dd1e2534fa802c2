"""Taking in a file: choose it, look every row over, confirm."""

import base64
import binascii
from collections.abc import Callable
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.exchange import take_measurements, take_people
from evenfield.clinic.exchange.csv_text import MOST_BYTES, CsvError, written
from evenfield.clinic.exchange.taking_in import Preview, TakeInError
from evenfield.clinic.exchange.taking_in import take_in as write_all
from evenfield.clinic.measuring.protocols import ProtocolError

_KINDS: dict[str, tuple[str, Callable[..., Preview], tuple[str, ...], str]] = {
    "people": ("people", take_people.preview, take_people.COLUMNS[:-1], "people.person"),
    "measurements": (
        "measurements", take_measurements.preview, take_measurements.COLUMNS[:-1], "measuring.measureentry",
    ),
}  # fmt: skip


class TakeInForm(forms.Form):
    """Which file, what it holds, and how its dates are meant."""

    kind = forms.ChoiceField(
        label="What the file holds",
        choices=[(kind, words) for kind, (words, *_) in _KINDS.items()],
        widget=forms.RadioSelect,
        initial="people",
    )
    month_first = forms.BooleanField(label="Dates like 03/04/2024 begin with the month", required=False)
    file = forms.FileField(label="CSV file", widget=forms.FileInput(attrs={"accept": ".csv,text/csv,.txt"}))

    def clean_file(self) -> bytes:
        """The bytes, not too many."""
        file = self.cleaned_data["file"]
        assert isinstance(file, UploadedFile)
        if (file.size or 0) > MOST_BYTES:
            raise ValidationError(f"The file is larger than {MOST_BYTES // 1000} kB; split it.")
        return bytes(file.read())


class LookForm(forms.Form):
    """The file again, what was seen of it, and that it was looked at; nothing is kept in between."""

    kind = forms.ChoiceField(choices=[(kind, kind) for kind in _KINDS])
    month_first = forms.BooleanField(required=False)
    content = forms.CharField(max_length=2 * MOST_BYTES)
    seen = forms.CharField(max_length=64)
    looked = forms.BooleanField(required=False)

    def clean_content(self) -> bytes:
        """The bytes of the file."""
        try:
            return base64.b64decode(self.cleaned_data["content"], validate=True)
        except binascii.Error:
            raise ValidationError("The file was damaged on the way; choose it again.") from None


@requires("exchange.take_in")
def take_in(request: StaffRequest) -> HttpResponse:
    """Choose a file; what it would do is shown, and nothing is written."""
    form = TakeInForm(
        request.POST or None,
        request.FILES or None,
        initial={"month_first": request.clinic.month_first},
    )
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            return _shown(request, given["kind"], given["file"], month_first=given["month_first"])
        except (CsvError, ProtocolError) as error:
            form.add_error("file", str(error))
    kinds = [(kind, words, columns) for kind, (words, _, columns, _) in _KINDS.items()]
    return render(request, "exchange/take_in.html", {"form": form, "kinds": kinds})


@requires("exchange.take_in")
@require_POST
def look(request: StaffRequest) -> HttpResponse:
    """Write all of a file that was looked over, or show it again."""
    form = LookForm(request.POST)
    if not form.is_valid():
        messages.error(request, "The file was damaged on the way; choose it again.")
        return redirect("take-in")
    given = form.cleaned_data
    _, make, _, trail_kind = _KINDS[given["kind"]]
    work = partial(make, given["content"], month_first=given["month_first"])
    try:
        done = write_all(work, given["content"], seen=given["seen"], looked=given["looked"], kind=trail_kind)
    except (CsvError, ProtocolError) as error:
        messages.error(request, str(error))
        return redirect("take-in")
    except TakeInError as error:
        return _shown(
            request, given["kind"], given["content"], month_first=given["month_first"], problem=str(error)
        )
    messages.success(request, f"Taken in: {done.outcome}.")
    return redirect("take-in")


@requires("exchange.take_in")
def template(request: StaffRequest, kind: str) -> HttpResponse:
    """An empty file with the columns."""
    if kind not in _KINDS:
        raise Http404
    return HttpResponse(
        written(_KINDS[kind][2], ()),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{kind}.csv"'},
    )


def _shown(
    request: StaffRequest, kind: str, content: bytes, *, month_first: bool, problem: str = ""
) -> HttpResponse:
    words, make, columns, _ = _KINDS[kind]
    preview = make(content, month_first=month_first)
    shown = [name for name in (*columns, "code") if any(row.cells.get(name) for row in preview.rows)]
    context: dict[str, Any] = {
        "kind": kind,
        "words": words,
        "preview": preview,
        "columns": list(dict.fromkeys(shown)),
        "lines": [
            (row, " · ".join(row.cells.get(name, "") for name in dict.fromkeys(shown)))
            for row in preview.rows
        ],
        "month_first": month_first,
        "content": base64.b64encode(content).decode(),
        "seen": preview.fingerprint(),
        "problem": problem,
    }
    return render(request, "exchange/look.html", context)
