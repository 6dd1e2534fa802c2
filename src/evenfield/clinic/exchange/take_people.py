"""People from a file: the same rules as when someone is entered by hand, and nobody twice."""

from collections import defaultdict
from datetime import date

from evenfield.clinic.exchange.csv_text import Table, read_table
from evenfield.clinic.exchange.taking_in import FileRow, Preview, about_file, read_day, uneven_rows
from evenfield.clinic.people.codes import read_code
from evenfield.clinic.people.finding import likely_same
from evenfield.clinic.people.forms import PersonForm
from evenfield.clinic.people.models import Person
from evenfield.clinic.people.names import plain

COLUMNS = ("given_name", "family_name", "born", "other_names", "phone", "email", "note", "code")
KNOWN = {name.replace("_", " "): name for name in COLUMNS} | {
    "first name": "given_name",
    "forename": "given_name",
    "last name": "family_name",
    "surname": "family_name",
    "name": "family_name",
    "date of birth": "born",
    "birth date": "born",
    "birthday": "born",
    "telephone": "phone",
    "e mail": "email",
    "notes": "note",
}
_LONGEST_SHOWN = 60


def preview(content: bytes, *, month_first: bool) -> Preview:
    """Every row with what speaks against it. Raises CsvError if the file cannot be read."""
    table = read_table(content, KNOWN)
    rows = [FileRow(line, dict(cells)) for line, cells in table.rows]
    uneven_rows(table, rows)
    forms = [_judge(row, month_first=month_first) for row in rows]
    _doubles(rows, forms)
    count = len(rows)

    def write() -> None:
        for form in forms:
            form.save()

    return Preview(
        table=table,
        rows=rows,
        about_file=about_file(table) + _missing(table),
        outcome=f"{count} {'person' if count == 1 else 'people'}",
        write=write,
    )


def _missing(table: Table) -> list[str]:
    names = {"given_name": "given names", "family_name": "family names"}
    return [f"There is no column with {words}." for name, words in names.items() if name not in table.columns]


def _judge(row: FileRow, *, month_first: bool) -> PersonForm:
    """The form of one row, as if typed."""
    typed = dict(row.cells)
    born = read_day(typed.get("born", ""), month_first=month_first)
    typed["born"] = born.isoformat() if born else typed.get("born", "")
    form = PersonForm(typed)
    for name, problems in form.errors.items():
        label = form.fields[name].label if name in form.fields else ""
        for problem in problems:
            row.stop(f"{label}: {problem}" if label else str(problem))
    code = read_code(typed.get("code", ""))
    if code and Person.objects.filter(code=code, erased__isnull=True).exists():
        row.stop(f"The code {code[:3]}-{code[3:]} is that of someone who is here; take the row out.")
    elif code:
        row.ask("The code is of another record; here the person gets a new one.")
    return form


def _doubles(rows: list[FileRow], forms: list[PersonForm]) -> None:
    """Whoever is here already, or is in the file twice."""
    seen: dict[tuple[str, date], int] = {}
    here = _held({form.cleaned_data["born"] for form in forms if form.is_valid()})
    for row, form in zip(rows, forms, strict=True):
        if row.stops:
            continue
        person: Person = form.instance
        assert person.born is not None
        key = (plain(person.full_name), person.born)
        if key in here:
            row.stop(f"{person.full_name} is here already with the code {here[key]}; take the row out.")
            continue
        if key in seen:
            row.stop(f"The same person is in line {seen[key]}; take one of them out.")
            continue
        seen[key] = row.line
        alike = [match.person for match in likely_same(person)[:3]]
        if alike:
            words = ", ".join(
                f"{one.full_name}, born {one.born:%Y-%m-%d} ({one.shown_code})" for one in alike
            )
            row.ask(f"Perhaps already here: {words}.")


def _held(born: set[date]) -> dict[tuple[str, date], str]:
    found: dict[tuple[str, date], str] = defaultdict(str)
    held = Person.objects.filter(born__in=born, erased__isnull=True, merged_into__isnull=True)
    for one in held:
        assert one.born is not None
        found[plain(one.full_name), one.born] = one.shown_code
    return found
