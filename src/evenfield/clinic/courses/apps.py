"""Courses, visits and the calendar as a part of the clinic."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, ClassVar

from evenfield.clinic.access import CLINICAL, Role
from evenfield.clinic.parts import ClinicPart, Holding, HomeNote, MenuEntry, VisitNeed

if TYPE_CHECKING:
    from evenfield.clinic.accounts.models import Account
    from evenfield.clinic.courses.models import Visit
    from evenfield.clinic.people.models import Person


class CoursesPart(ClinicPart):
    """The planned series of visits, and the calendar."""

    name = "evenfield.clinic.courses"
    label = "courses"
    prefix = "courses/"
    grants: ClassVar = {
        "courses.view": CLINICAL,
        "courses.change": CLINICAL,
        "courses.rules": frozenset({Role.LEAD, Role.OWNER}),
    }
    menu: ClassVar = (MenuEntry("Calendar", "calendar", "courses.view", place=15),)

    def home_notes(self, account: "Account") -> list[HomeNote]:
        """The visits of today, and courses that wait for a next one."""
        from evenfield.clinic.courses.overview import hours_note, today_note, waiting_note

        if not account.has_perm("courses.view"):
            return []
        hours = hours_note() if account.has_perm("courses.rules") else None
        return [note for note in (today_note(), waiting_note(), hours) if note]

    def person_section(
        self, account: "Account", people: list["Person"]
    ) -> tuple[str, Mapping[str, Any]] | None:
        """The open courses and the newest others, with their visits in order."""
        from evenfield.clinic.courses.models import Course
        from evenfield.clinic.courses.overview import COURSES_AT_ONCE, courses_of, planned_of

        if not account.has_perm("courses.view"):
            return None
        courses = courses_of(people, 0, COURSES_AT_ONCE)
        shown = {
            "courses": courses,
            "earlier": Course.objects.filter(person__in=people).count() - len(courses),
            "stray": 0 if people[0].active else planned_of(people),
            "code": people[0].code,
            "may_change": account.has_perm("courses.change"),
        }
        return "courses/section.html", shown

    def visit_needs(self, people: list["Person"], visits: list["Visit"]) -> Mapping[int, Sequence[VisitNeed]]:
        """A plan saved to the visit."""
        from evenfield.clinic.courses.overview import plan_need

        return {visit.pk: [plan_need(visit)] for visit in visits}

    def export_person(self, people: list["Person"]) -> Holding:
        """Every course with its visits."""
        from evenfield.clinic.courses.holding import exported

        return exported(people)

    def erase_person(self, people: list["Person"]) -> None:
        """Blank what was written; free the times that were planned."""
        from evenfield.clinic.courses.holding import blank

        blank(people)

    def open_doors(self, account: "Account") -> list[str]:
        """The private calendar address."""
        from evenfield.clinic.courses.models import CalendarAddress

        held = CalendarAddress.objects.filter(account=account).exists()
        return ["the private calendar address"] if held else []

    def close_doors(self, account: "Account") -> None:
        """End it."""
        from evenfield.clinic.courses.calendar_address import end_address

        end_address(account)

    def make_demonstration(self) -> None:
        """Invented courses around today."""
        from evenfield.clinic.courses.demonstration import make_courses

        make_courses()
