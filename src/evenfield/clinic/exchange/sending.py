"""The three forms in which a person or a visit goes out, each recorded in the trail."""

from collections.abc import Callable
from dataclasses import dataclass

from django.conf import settings
from django.db import transaction

from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.courses.models import Visit
from evenfield.clinic.exchange import fhir_bundle, paper, sheets
from evenfield.clinic.exchange.gathered import Gathered, of_person, of_visit
from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.people.models import Person


@dataclass(frozen=True)
class Sent:
    """A file to hand over."""

    name: str
    media_type: str
    content: bytes


@dataclass(frozen=True)
class _Form:
    words: str
    ending: str
    media_type: str
    make: Callable[[Gathered, Clinic, bool], bytes]


def _as_fhir(gathered: Gathered, _clinic: Clinic, photographs: bool) -> bytes:
    return fhir_bundle.fhir_bundle(gathered, photographs=photographs)


def _as_sheets(gathered: Gathered, _clinic: Clinic, _photographs: bool) -> bytes:
    return sheets.sheets(gathered)


def _as_paper(gathered: Gathered, clinic: Clinic, _photographs: bool) -> bytes:
    return paper.paper(
        gathered, length_unit=clinic.length_unit, demonstration=settings.EVENFIELD_DEMONSTRATION
    )


FORMS = {
    "fhir": _Form("FHIR R4B bundle", "fhir.json", fhir_bundle.MEDIA_TYPE, _as_fhir),
    "csv": _Form("CSV files", "csv.zip", sheets.MEDIA_TYPE, _as_sheets),
    "pdf": _Form("PDF", "pdf", paper.MEDIA_TYPE, _as_paper),
}
CHOICES = [(name, form.words) for name, form in FORMS.items()]


def send(about: Person | Visit, name: str, clinic: Clinic, *, photographs: bool = False) -> Sent:
    """Make the file and record that it went out; without the record there is no file.

    Raises FhirError if a bundle would not be sound; then nothing went out and nothing is recorded.
    """
    form = FORMS[name]
    with transaction.atomic():
        if isinstance(about, Visit):
            gathered, kind, stem = of_visit(about, clinic.name), "courses.visit", f"visit-{about.pk}"
        else:
            gathered, kind, stem = of_person(about, clinic.name), "people.person", f"person-{about.code}"
        content = form.make(gathered, clinic, photographs)
        pictures = ", with pictures" if photographs and name == "fhir" else ""
        trail.record(
            Action.EXPORT,
            kind=kind,
            object_id=about.pk,
            subject_id=gathered.person.pk,
            note=f"as {form.words}{pictures}",
        )
    return Sent(f"{stem}.{form.ending}", form.media_type, content)
