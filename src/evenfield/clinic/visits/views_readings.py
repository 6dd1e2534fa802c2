"""Readings from a file, entered into a visit."""

from django import forms
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.courses.finding import visit_or_404
from evenfield.clinic.courses.visits import VisitError
from evenfield.clinic.visits.readings import take_table, zones_of
from evenfield.thermometer.session import DEFAULT_ERROR_K
from evenfield.thermometer.table import COLUMNS, TableError

MOST_BYTES = 500_000


class ReadingsFileForm(forms.Form):
    """The file, and how good its readings are."""

    file = forms.FileField(label="CSV file", widget=forms.FileInput(attrs={"accept": ".csv,text/csv,.txt"}))
    error_k = forms.FloatField(
        label="Standard error of one reading, K", min_value=0.01, max_value=10.0, initial=DEFAULT_ERROR_K
    )

    def clean_file(self) -> bytes:
        """The bytes, not too many."""
        file = self.cleaned_data["file"]
        assert isinstance(file, UploadedFile)
        if (file.size or 0) > MOST_BYTES:
            raise forms.ValidationError(f"The file is larger than {MOST_BYTES // 1000} kB.")
        return bytes(file.read())


@requires("visits.enter")
def readings_file(request: StaffRequest, number: int) -> HttpResponse:
    """Take all readings of a file, or none and say why."""
    visit = visit_or_404(number)
    form = ReadingsFileForm(request.POST or None, request.FILES or None)
    trouble, problems = "", ()
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            taken = take_table(visit, given["file"], given["error_k"], timezone.now())
        except (TableError, VisitError) as error:
            trouble, problems = str(error), getattr(error, "problems", ())
        else:
            said = "reading of the file is" if taken == 1 else "readings of the file are"
            messages.success(request, f"{taken} {said} in the record.")
            return redirect("live-visit", number=number)
    context = {
        "visit": visit,
        "person": visit.person.kept,
        "form": form,
        "trouble": trouble,
        "problems": problems,
        "columns": ", ".join(COLUMNS),
        "zones": zones_of(visit),
    }
    return render(request, "visits/readings_file.html", context)
