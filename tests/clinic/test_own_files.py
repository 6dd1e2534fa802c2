"""A clinic's own file that cannot be used is refused: the shipped data never stands in for it unseen."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from evenfield.clinic.measuring.protocols import own_protocols_file, present_protocols
from evenfield.clinic.own_files import own_profile_file, profile_text, skin_limit_c
from evenfield.clinic.screening.questions import own_questions_file, present_questions

FILES: list[tuple[Callable[[], Path], Callable[[], object]]] = [
    (own_profile_file, profile_text),
    (own_profile_file, skin_limit_c),
    (own_protocols_file, present_protocols),
    (own_questions_file, present_questions),
]


@pytest.fixture(autouse=True)
def _no_own_files(db: None) -> Iterator[None]:
    yield
    for where, _ in FILES:
        where().unlink(missing_ok=True)


@pytest.mark.parametrize(("where", "read"), FILES)
@pytest.mark.parametrize("content", [b"", b"name = ", b"name = '\xff'"], ids=["empty", "cut off", "no text"])
def test_what_cannot_be_used_is_refused_in_one_sentence(
    where: Callable[[], Path], read: Callable[[], object], content: bytes
) -> None:
    read()  # without a file: the shipped data
    where().parent.mkdir(parents=True, exist_ok=True)
    where().write_bytes(content)
    with pytest.raises(ValueError, match=where().name) as refused:
        read()
    assert "\n" not in str(refused.value)
