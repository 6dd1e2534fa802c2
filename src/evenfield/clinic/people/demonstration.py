"""The invented clients of the demonstration clinic."""

from datetime import date

from evenfield.clinic.people.models import Person

PEOPLE = (
    ("Maruška", "Holvat", date(1974, 4, 12), "outer thighs, third visit due"),
    ("Ines", "Pallandér", date(1988, 11, 3), "abdomen, first visit booked"),
    ("Rosalind", "Okkerveen", date(1969, 7, 27), "upper arms, course finished"),
    ("Teodor", "Quist", date(1991, 1, 19), "flanks, waiting for the clinician's answer"),
    ("Yara", "Mendelow", date(1982, 9, 8), "calves, second visit done"),
    ("Ynes", "Palander", date(1988, 3, 11), "probably entered twice: see Ines Pallandér"),
    ("Bruno", "Tessaly", date(1955, 12, 30), "moved away"),
)


def make_people() -> None:
    """Create them; one has left."""
    for given, family, born, note in PEOPLE:
        person = Person(given_name=given, family_name=family, born=born, note=f"Invented: {note}.")
        if given == "Bruno":
            person.active, person.inactive_reason = False, "moved away"
        person.save()
