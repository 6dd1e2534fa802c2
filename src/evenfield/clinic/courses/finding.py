"""Courses and visits by the number in an address; those of someone erased are not found."""

from django.shortcuts import get_object_or_404

from evenfield.clinic.courses.models import Course, Visit


def visit_or_404(number: int) -> Visit:
    """The visit of a number, of someone who was not erased."""
    wanted = Visit.objects.select_related("course__person__merged_into", "room", "device", "staff")
    found = get_object_or_404(wanted, pk=number, course__person__erased__isnull=True)
    assert isinstance(found, Visit)
    return found


def course_or_404(number: int) -> Course:
    """The course of a number, of someone who was not erased."""
    wanted = Course.objects.select_related("person__merged_into")
    found = get_object_or_404(wanted, pk=number, person__erased__isnull=True)
    assert isinstance(found, Course)
    return found
