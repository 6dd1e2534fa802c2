"""Courses, visits and the calendar as a part of the clinic."""

from typing import ClassVar

from evenfield.clinic.access import CLINICAL, Role
from evenfield.clinic.parts import ClinicPart


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
