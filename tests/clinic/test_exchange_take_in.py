"""People and measurements from CSV: every row looked over first, then all written or none."""

import io
import re
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from evenfield.clinic.access import Role
from evenfield.clinic.audit.actor import Actor
from evenfield.clinic.audit.compared import verify_record
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.audit.trail import record, verify_chain
from evenfield.clinic.exchange import take_measurements, take_people
from evenfield.clinic.exchange.csv_text import CsvError, read_table
from evenfield.clinic.exchange.gathered import of_person
from evenfield.clinic.exchange.sheets import sheets
from evenfield.clinic.exchange.taking_in import Preview, read_moment
from evenfield.clinic.measuring.change import courses
from evenfield.clinic.measuring.history import in_force
from evenfield.clinic.measuring.models import MeasureEntry
from evenfield.clinic.people.models import Person
from tests.clinic.test_exchange import files_of

PEOPLE = (
    "given_name,family_name,born,phone\r\n"
    "Maruška,Holvat,1979-02-28,0100 555 0103\r\n"
    "Rosalind,Okkerveen,03/04/1985,\r\n"
)
GIRTHS = (
    "code;measured_at;quantity;region;side;level_mm;direction;protocol;reading_1;reading_2;unit\n"
    "{code};17.05.2024 10:30;girth;thigh;left;80;;thigh_mid_tape;61,2;61,4;cm\n"
    "{code};17.05.2024 10:30;girth;thigh;left;0;;thigh_mid_tape;570;572;mm\n"
    "{code};17.05.2024 10:30;girth;thigh;left;-80;;thigh_mid_tape;19.3;19.4;in\n"
    "{code};17.05.2024;weight;;;;;weight_scale;150;150;lb\n"
)


def remarks(preview: Preview) -> list[str]:
    """What is said about each row, stops first."""
    return [" | ".join([*row.stops, *(f"? {words}" for words in row.asks)]) for row in preview.rows]


@pytest.mark.parametrize(
    ("content", "encoding", "separator"),
    [
        ("Maruška,x\n".encode(), "UTF-8", "comma"),
        ("\ufeffMaruška;x\n".encode(), "UTF-8", "semicolon"),
        ("\ufeffMaruška\tx\n".encode("utf-16-le"), "UTF-16", "tab"),
        ("Maruška,x\n".encode("cp1252"), "Windows-1252", "comma"),
    ],
)
def test_encoding_and_separator_are_recognised(content: bytes, encoding: str, separator: str) -> None:
    sign = {"comma": ",", "semicolon": ";", "tab": "\t"}[separator]
    codec = {"UTF-16": "utf-16-le", "Windows-1252": "cp1252"}.get(encoding, "utf-8")
    mark, body = (content[:3], content[3:]) if content[:3] == b"\xef\xbb\xbf" else (b"", content)
    if encoding == "UTF-16":
        mark, body = content[:2], content[2:]
    header = f"Given name{sign}FAMILY_NAME\n".encode(codec)
    table = read_table(mark + header + body, take_people.KNOWN)
    assert (table.encoding, table.separator) == (encoding, separator)
    assert table.rows == ((2, {"given_name": "Maruška", "family_name": "x"}),)
    assert table.sure_of_encoding is (encoding != "Windows-1252")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "names no column"),
        (b"colour,size\n1,2\n", "names no column"),
        (b"born\n", "no row"),
        (b"born,date of birth\n1,2\n", "mean the same"),
        (b"born\x00\nx", "not a text file"),
        (b"\xff\xfe\x00", "is not; save it anew"),
        (b'born,note\n1,"open\n', "cannot be read"),
        (b"born\n" + b"1980-01-01\n" * 1001, "1001 rows"),
        (b"born\n" + b" " * 1_000_001, "larger than"),
    ],
)
def test_what_cannot_be_read_is_one_sentence(content: bytes, words: str) -> None:
    with pytest.raises(CsvError, match=words):
        read_table(content, take_people.KNOWN)


def test_times_are_the_clinics_unless_they_say_otherwise(db: None) -> None:
    with timezone.override("Europe/Oslo"):
        noon = datetime(2024, 5, 17, 10, tzinfo=UTC)  # Oslo is two hours ahead of UTC in May
        for text in (
            "2024-05-17",
            "17.05.2024",
            "17/05/2024",
            "2024-05-17T10:00Z",
            "2024-05-17 12:00",
        ):
            assert read_moment(text, month_first=False) == noon
        assert read_moment("05/17/2024 12:00", month_first=True) == noon
        for text in ("", "yesterday", "2024-13-01", "17/05/2024 25:00", "2024-05-17 12:00 x"):
            assert read_moment(text, month_first=False) is None


def test_people_who_are_here_or_twice_in_the_file_are_named(person: Callable[..., Person]) -> None:
    here = person("Maruška", "Holvat", date(1979, 2, 28))
    rows = (
        "given name,family name,born,e-mail,colour\n"
        "MARUSKA,Holvat,1979-02-28,,\n"  # the same without accents
        "Marushka,Holvat,1979-02-28,,\n"  # perhaps the same
        "Ole,Tangen,1990-01-01,,\n"
        "Ole,Tangen,1.1.1990,,\n"
        ",,1990-01-01,,\n"
        "Ada,Beck,1.13.1990,,\n"
        "Ada,Beck,2090-01-01,not an address,\n"
        "Ada,Beck,1990-01-01\n"
    )
    preview = take_people.preview(rows.encode(), month_first=False)
    found = remarks(preview)
    assert f"is here already with the code {here.shown_code}" in found[0]
    assert found[1].startswith("? Perhaps already here: Maruška Holvat, born 1979-02-28")
    assert found[2] == ""
    assert found[3] == "The same person is in line 4; take one of them out."
    assert found[4] == "Family name: Give at least one name."
    assert found[5].startswith("Date of birth:")
    assert "cannot be; check the year" in found[6]
    assert "E-mail:" in found[6]
    assert "It has 3 cells" in found[7]
    assert preview.about_file == ["Columns that are not known here are left out: colour."]
    assert (preview.stopped, preview.asked) == (6, 1)


def look(client: Client, kind: str, text: str, **extra: str) -> str:
    """The page after choosing a file."""
    file = SimpleUploadedFile("file.csv", text.encode())
    return client.post("/exchange/take-in/", {"kind": kind, "file": file, **extra}).content.decode()


def hidden(page: str) -> dict[str, str]:
    """What the page would send on confirming."""
    return dict(re.findall(r'type="hidden" name="(kind|content|seen|month_first)" value="([^"]*)"', page))


def test_nothing_is_written_before_confirming_and_then_everything(browser: Callable[..., Client]) -> None:
    client = browser(Role.OWNER)
    page = look(client, "people", PEOPLE)
    assert "2 people in the file" in page.lower()
    assert "1985" in page
    assert not Person.objects.exists()
    answer = client.post("/exchange/take-in/look/", hidden(page), follow=True)
    assert "Taken in: 2 people." in answer.content.decode()
    born = dict(Person.objects.values_list("family_name", "born"))
    assert born == {"Holvat": date(1979, 2, 28), "Okkerveen": date(1985, 4, 3)}
    entry = AuditEvent.objects.get(action=Action.TAKE_IN)
    assert re.fullmatch(r"2 people taken in from a file, SHA-256 [0-9a-f]{64}", entry.note)
    assert (
        AuditEvent.objects.filter(
            action=Action.CREATE, kind="people.person", subject_id__isnull=False
        ).count()
        == 2
    )
    again = client.post("/exchange/take-in/look/", hidden(page)).content.decode()
    assert "Something has changed since the file was looked over" in again
    assert "is here already with the code" in again
    assert Person.objects.count() == 2
    assert verify_record().problems == ()


def test_trails_in_which_a_file_taken_in_stands_as_created_still_hold(
    terminal: Actor, person: Callable[..., Person]
) -> None:
    """Trails begun before such files had an action of their own."""
    person()
    record(Action.CREATE, kind="people.person", note="1 person taken in from a file, SHA-256 0")
    assert verify_record().problems == ()


def test_the_month_comes_first_where_the_clinic_says_so(browser: Callable[..., Client]) -> None:
    client = browser(Role.LEAD)
    page = look(client, "people", PEOPLE, month_first="on")
    client.post("/exchange/take-in/look/", hidden(page))
    assert Person.objects.get(family_name="Okkerveen").born == date(1985, 3, 4)


def test_a_row_in_question_needs_the_tick_and_a_stopped_one_stops_all(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    person("Marushka", "Holvat", date(1979, 2, 28))
    client = browser(Role.OWNER)
    page = look(client, "people", PEOPLE)
    refused = client.post("/exchange/take-in/look/", hidden(page)).content.decode()
    assert "Say that you have looked" in refused
    stopped = look(client, "people", PEOPLE + "Ada,,2090-01-01,\r\n")
    answer = client.post("/exchange/take-in/look/", {**hidden(stopped), "looked": "on"}).content.decode()
    assert "Some rows cannot be taken in" in answer
    assert Person.objects.count() == 1
    client.post("/exchange/take-in/look/", {**hidden(page), "looked": "on"})
    assert Person.objects.count() == 3


def test_a_fault_in_the_middle_leaves_nothing(
    browser: Callable[..., Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    client = browser(Role.OWNER)
    page = look(client, "people", PEOPLE)
    real = Person.save
    saved: list[Person] = []

    def failing(self: Person, *args: object, **kwargs: object) -> None:
        if saved:
            raise RuntimeError("the disk is full")
        saved.append(self)
        real(self)

    monkeypatch.setattr(Person, "save", failing)
    client.raise_request_exception = False
    assert client.post("/exchange/take-in/look/", hidden(page)).status_code == 500
    assert saved
    assert not Person.objects.exists()
    assert not AuditEvent.objects.filter(note__contains="taken in").exists()


def test_measurements_keep_their_time_protocol_and_typed_text(
    browser: Callable[..., Client], person: Callable[..., Person]
) -> None:
    one = person()
    client = browser(Role.OWNER)
    page = look(client, "measurements", GIRTHS.format(code=one.code))
    assert "4 numbers in 2 sets" in page
    assert not MeasureEntry.objects.exists()
    client.post("/exchange/take-in/look/", hidden(page))
    found = {held.key: held for held in in_force(one)}
    assert {key: round(held.value, 5) for key, held in found.items()} == {
        "girth_80": 0.613, "girth_0": 0.571, "girth_-80": 0.49149, "weight": 68.03886,
    }  # fmt: skip
    assert all(held.imported and held.measurer is None for held in found.values())
    assert found["girth_80"].at == datetime(2024, 5, 17, 10, 30, tzinfo=UTC)
    assert found["weight"].at == datetime(2024, 5, 17, 12, tzinfo=UTC)
    kept = MeasureEntry.about([one.pk])
    typed = [value["typed"] for value in kept[-1].content["values"]]
    assert typed == [["61,2", "61,4"], ["570", "572"], ["19.3", "19.4"]]
    assert verify_chain().holds
    again = look(client, "measurements", GIRTHS.format(code=one.code))
    assert again.count("This number is here already") == 4


def test_an_older_set_taken_in_later_is_still_the_older_one(
    person: Callable[..., Person], terminal: Actor
) -> None:
    one = person()
    for text in (GIRTHS, GIRTHS.replace("2024", "2022").replace("61,2;61,4", "62,2;62,4")):
        preview = take_measurements.preview(text.format(code=one.code).encode(), month_first=False)
        assert preview.stopped == 0
        preview.write()
    line = next(line for line in courses(in_force(one)) if line.last.key == "girth_80")
    assert [round(held.value, 3) for held in line.numbers] == [0.623, 0.613]
    assert line.change is not None
    assert not line.change.same_measurer  # nobody knows who measured


MEASURE_FAULTS = {
    ";cm\n": (";furlong\n", "The unit of girth must be one of cm, mm, in."),
    ";80;;thigh_mid_tape;61,2;61,4": (";80;;thigh_mid_tape;;", "There is no reading."),
    ";thigh_mid_tape;61": (";abdomen_navel_tape;61", "is for the abdomen"),
    "thigh_mid_tape;61": ("tape;61", "There is no protocol 'tape' for girth"),
    ";left;80": (";;80", "Choose the side"),
    ";80;": (";;", "Give level_mm"),
    ";80;;": (";0;;", "This place is in the set twice."),
    "{code};17.05.2024 10:30;girth;thigh;left;80": ("Z;17.05.2024 10:30;girth;thigh;left;80", "nobody"),
    "17.05.2024 10:30;girth;thigh;left;80": ("17.05.2090;girth;thigh;left;80", "in the future"),
    "17.05.2024 10:30;girth;thigh;left;80;": ("17.05.1980;girth;thigh;left;80;", "before the person"),
    "girth;thigh;left;80": ("length;thigh;left;80", "is not measured here"),
    "61,2;": ("61.2.1;", "is not a number"),
    "61,2;61,4": ("24,1;24,2", "? 24,1 cm: here"),
    "61,2;61,4;": ("61,2;64,9;", "? The readings do not agree"),
    "61,4;cm": (";cm", "? Only one reading; the protocol wants more."),
}  # fmt: skip


@pytest.mark.parametrize("was", MEASURE_FAULTS)
def test_each_fault_of_a_measurement_is_named(person: Callable[..., Person], was: str) -> None:
    one = person()
    now, words = MEASURE_FAULTS[was]
    assert was in GIRTHS
    text = GIRTHS.replace(was, now, 1).format(code=one.code)
    found = remarks(take_measurements.preview(text.encode(), month_first=False))
    assert any(words in said for said in found), found
    assert sum(bool(said) for said in found) == 1


def test_someone_may_be_named_by_name_and_date_of_birth(person: Callable[..., Person]) -> None:
    one = person("Ines", "Pallandér", date(1988, 11, 3))
    text = (
        "given name,family name,date of birth,date,quantity,protocol,reading 1,reading 2,unit\n"
        "ines,Pallandér,1988-11-03,2024-01-02,weight,weight_scale,68.4,68.4,kg\n"
        "ines,Pallandér,1988-11-04,2024-01-02,weight,weight_scale,68.4,68.4,kg\n"
        ",,,2024-01-02,weight,weight_scale,68.4,68.4,kg\n"
    )
    assert remarks(take_measurements.preview(text.encode(), month_first=False)) == [
        "",
        "There is nobody of this name and date of birth.",
        "Say who it is: the code, or names and date of birth.",
    ]
    person("Ines", "Pallandér", date(1988, 11, 3))
    assert remarks(take_measurements.preview(text.encode(), month_first=False))[0].startswith(
        "Several people fit"
    )
    assert one.pk


def test_what_was_handed_over_can_be_taken_in(person: Callable[..., Person], terminal: Actor) -> None:
    """The archive of one clinic is read by another: the same numbers, by the same protocol."""
    one = person(other_names="=1+1")
    take_measurements.preview(GIRTHS.format(code=one.code).encode(), month_first=False).write()
    archive = sheets(of_person(one, "Clinic"))
    assert files_of(archive)["people.csv"][0]["other_names"] == "'=1+1"
    with zipfile.ZipFile(io.BytesIO(archive)) as files:
        people, numbers = files.read("people.csv"), files.read("measurements.csv")
    before = {held.key: (held.value, held.at, held.readings) for held in in_force(one)}
    other = people.replace(b"Ines", b"Ottilie").replace(one.code.encode(), b"")
    preview = take_people.preview(other, month_first=False)
    preview.write()
    new = Person.objects.get(given_name="Ottilie")
    assert new.other_names == "=1+1"
    take = take_measurements.preview(numbers.replace(one.code.encode(), new.code.encode()), month_first=False)
    assert remarks(take) == [""] * 4
    assert take.about_file == []
    take.write()
    after = {held.key: (held.value, held.at, held.readings) for held in in_force(new)}
    assert {key: value[1] for key, value in after.items()} == {key: value[1] for key, value in before.items()}
    for key, (value, _, readings) in before.items():
        rounding = 5e-4 if key == "weight" else 5e-6  # a gram, a hundredth of a millimetre
        assert after[key][0] == pytest.approx(value, abs=rounding)
        assert after[key][2] == pytest.approx(readings, abs=rounding)
