"""The picture of a visit: letters over the marks stay legible."""

from evenfield.report.visit_page import lettered


def test_letters_that_would_overlap_stand_together() -> None:
    marks = [(21.1, "M"), (17.6, "H"), (17.9, "M")]
    assert lettered(marks, 46.0) == [(17.6, "H M"), (21.1, "M")]
    assert lettered(marks, 10.0) == [(17.6, "H"), (17.9, "M"), (21.1, "M")], "wide enough apart"
    assert lettered([], 46.0) == []
