"""Files and folders that appear whole or not at all."""

import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from evenfield.cli.refused import RefusedError


@contextmanager
def draft(destination: Path, *, folder: bool = False) -> Iterator[Path]:
    """A path to write to, moved to `destination` when the block ends well and gone if it does not.

    With `folder` the path is a folder that is there. Drafts lie beside the destination (or in its nearest
    parent that exists), so that moving them is one step. An existing folder keeps what the draft does not
    hold. Raises RefusedError if nothing can be written there, before the block begins.
    """
    destination = destination.resolve()
    if destination.is_dir() and not folder:
        raise RefusedError(f"{destination}: this is a folder; allowed: the name of a file")
    if destination.exists() and not destination.is_dir() and folder:
        raise RefusedError(f"{destination}: this is a file; allowed: the name of a folder")
    ground = next(place for place in destination.parents if place.exists())
    try:
        room = TemporaryDirectory(prefix=".evenfield-draft-", dir=ground)
    except OSError as error:
        raise RefusedError(f"{destination}: cannot be written ({(error.strerror or '').lower()})") from error
    with room as place:
        path = Path(place) / destination.name
        if folder:
            path.mkdir()
        yield path
        with _undisturbed():
            destination.parent.mkdir(parents=True, exist_ok=True)
            _put(path, destination)


def _put(path: Path, destination: Path) -> None:
    """Move a file, a folder, or the files of a folder into one that is there."""
    if path.is_dir() and destination.is_dir():
        for part in sorted(path.iterdir()):
            _put(part, destination / part.name)
    else:
        path.replace(destination)


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Put off Ctrl-C while the block lasts."""
    if os.name == "nt" or threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
