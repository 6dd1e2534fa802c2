"""Shared by the tests that go all the way into a running visit."""

from collections.abc import Iterator

import pytest

from tests.thermometer.clinic import RunningClinic


@pytest.fixture(scope="session")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningClinic]:
    """One clinic with a running visit."""
    made = RunningClinic(tmp_path_factory.mktemp("thermometer") / "record")
    try:
        made.begin()
        yield made
    finally:
        made.end()
