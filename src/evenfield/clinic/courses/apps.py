"""Courses, visits and the calendar as a part of the clinic."""

from evenfield.clinic.parts import ClinicPart


class CoursesPart(ClinicPart):
    """The planned series of visits, and the calendar."""

    name = "evenfield.clinic.courses"
    label = "courses"
    prefix = "courses/"
