"""What holds for every test: no network, no stopwatch, and a plain word where a program is missing."""

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests import network_guard

network_guard.install()

# A slow example is no fault. In CI the same examples each time, so that a change is judged by its own doing.
settings.register_profile(
    "house",
    deadline=None,
    derandomize=os.environ.get("CI") == "true",
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("house")


def program(*names: str, beside: str = "") -> Path:
    """The first of `names` that this machine has, on the path or under the glob `beside` of the root folder.

    Skips the test where there is none. With CI=true that is a failure: CI installs all of them.
    """
    for name in names:
        if found := shutil.which(name):
            return Path(found)
        if beside and (places := sorted(Path("/").glob(f"{beside}/{name}"))):
            return places[-1]
    message = f"not tested here: {names[0]} is not installed (make test-needs)"
    if os.environ.get("CI") == "true":
        pytest.fail(message)
    pytest.skip(message)


@pytest.fixture(scope="session")
def chromium() -> Path:
    """A browser that can run without a screen."""
    return program("chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="session")
def postgres() -> Path:
    """PostgreSQL's server program; `initdb` and the others lie in the same folder."""
    return program("postgres", beside="usr/lib/postgresql/*/bin").resolve()


@pytest.fixture(scope="session")
def pdftotext() -> Path:
    """Reads the words of a PDF; `pdftoppm` and `pdfinfo` lie in the same folder."""
    return program("pdftotext")
