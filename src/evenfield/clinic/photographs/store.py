"""Where pictures lie: in the data directory, outside anything a web server serves, under random names.

`files/photographs/NAME.jpg` and `NAME-small.jpg`, readable by the server's account only. `evenfield backup`
copies everything below `files/`. The rows know each file's SHA-256.
"""

import os
import re
import secrets
from pathlib import Path

from django.conf import settings

_NAME = re.compile(r"[0-9a-f]{32}")


def folder() -> Path:
    """The folder of the pictures."""
    return Path(settings.MEDIA_ROOT) / "photographs"


def path_of(name: str, *, small: bool = False) -> Path:
    """The file of a picture. Raises ValueError for a name that none was given."""
    if not _NAME.fullmatch(name):
        raise ValueError("no name of a picture")
    return folder() / f"{name}{'-small' if small else ''}.jpg"


def write(jpeg: bytes, small: bytes) -> str:
    """Put both files on the disk and return their name; nothing is left if it fails."""
    folder().mkdir(parents=True, exist_ok=True, mode=0o700)
    name = secrets.token_hex(16)
    try:
        _write(path_of(name), jpeg)
        _write(path_of(name, small=True), small)
    except OSError:
        remove(name)
        raise
    return name


def remove(name: str) -> None:
    """Remove both files of a picture, if they are there."""
    for small in (False, True):
        path_of(name, small=small).unlink(missing_ok=True)


def _write(path: Path, content: bytes) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
