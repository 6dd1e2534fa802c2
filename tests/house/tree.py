"""The project's own files, as the house tests read them."""

import subprocess
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent


@cache
def files() -> tuple[Path, ...]:
    """Every file that is, or would be with the next commit, under version control."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split("\0")
    return tuple(path for name in sorted(set(listed)) if name and (path := ROOT / name).is_file())


def inside(folder: str, suffix: str = ".py") -> list[Path]:
    """The files of one folder, at any depth."""
    return [path for path in files() if path.suffix == suffix and (ROOT / folder) in path.parents]


def name(path: Path) -> str:
    """How a failure names the file."""
    return path.relative_to(ROOT).as_posix()


def text(path: Path) -> str | None:
    """What a text file says; nothing for pictures and other bytes."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return None
