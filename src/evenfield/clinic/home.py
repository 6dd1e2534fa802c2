"""The data directory: where a clinic's record, its secret key and its marks live."""

import os
import secrets
from contextlib import suppress
from pathlib import Path

import platformdirs

HOME_VARIABLE = "EVENFIELD_HOME"
_KEY_FILE = "secret-key"
_DEMONSTRATION_MARK = "demonstration"


class HomeError(Exception):
    """The data directory cannot be used; the message is one clear sentence."""


def home_path() -> Path:
    """The data directory: EVENFIELD_HOME, or the platform's place for a user's application data."""
    named = os.environ.get(HOME_VARIABLE)
    return Path(named).expanduser() if named else platformdirs.user_data_path("evenfield", appauthor=False)


def prepare_home(home: Path, *, demonstration: bool = False) -> None:
    """Create the data directory (mode 0700) with its secret key (mode 0600) if they are not there yet.

    A directory once made for a demonstration stays one, and a clinic's own directory never becomes one.
    """
    try:
        home.mkdir(parents=True, exist_ok=True, mode=0o700)
        started = (home / _KEY_FILE).exists()
        if demonstration and started and not is_demonstration(home):
            raise HomeError(
                f"{home} holds a clinic's own record; choose another directory for a demonstration."
            )
        if demonstration:
            (home / _DEMONSTRATION_MARK).touch(mode=0o600)
        if not started:
            write_private(home / _KEY_FILE, secrets.token_urlsafe(48) + "\n")
    except OSError as error:
        raise HomeError(f"The data directory {home} cannot be used: {error.strerror}.") from error


def write_private(path: Path, text: str) -> None:
    """Write a file that only this account may read, replacing it in one step."""
    draft = path.with_name(f"{path.name}.{secrets.token_hex(4)}.new")
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        file.write(text)
    draft.replace(path)


def make_private(path: Path) -> None:
    """See to it that only this account may read a file, which is made empty if it is not there.

    Where that is not allowed it stays as it is: `evenfield doctor` tells.
    """
    with suppress(OSError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT, 0o600))
        if path.stat().st_mode & 0o077:
            path.chmod(0o600)


def secret_key(home: Path) -> str:
    """The key that signs cookies and marks; before the directory is prepared, a passing one."""
    try:
        return (home / _KEY_FILE).read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        return secrets.token_urlsafe(48)


def is_demonstration(home: Path) -> bool:
    """Whether this directory holds an invented clinic."""
    return (home / _DEMONSTRATION_MARK).exists()
