"""Do the lock files still answer pyproject.toml? Looks nothing up: no network, no index.

A lock is fresh when the packages it names as asked for by the project are exactly those of pyproject.toml,
each pinned to one version that satisfies it and carrying a hash; and when the lock for development holds the
very pins of the lock for running.
"""

import re
import sys
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent


@dataclass(frozen=True)
class Pin:
    """One package of a lock file."""

    version: str
    hashed: bool
    asked_for: bool  # by pyproject.toml, not only by another package


def read_lock(text: str) -> dict[str, Pin]:
    """The pins of a lock file as `make lock` writes it, by canonical name."""
    pins: dict[str, Pin] = {}
    for entry in re.split(r"\n(?=[A-Za-z0-9])", "\n" + text):
        if head := re.match(r"\s*([A-Za-z0-9._-]+)==(\S+)", entry):
            pins[canonicalize_name(head[1])] = Pin(
                head[2], "--hash=sha256:" in entry, "(pyproject.toml" in entry
            )
    return pins


def problems(wanted: Iterable[Requirement], pins: dict[str, Pin], lock: str) -> list[str]:
    """What is wrong with one lock, one sentence each."""
    found = []
    names = set()
    for requirement in wanted:
        name = canonicalize_name(requirement.name)
        names.add(name)
        if name not in pins:
            found.append(f"{lock} lacks {requirement}")
        elif not requirement.specifier.contains(pins[name].version, prereleases=True):
            found.append(f"{lock} has {name} {pins[name].version}, but pyproject.toml wants {requirement}")
    for package, pin in pins.items():
        if not pin.hashed:
            found.append(f"{lock} has no hash for {package}")
        if pin.asked_for and package not in names:
            found.append(f"{lock} has {package} for a requirement that pyproject.toml no longer states")
    return found


def project_problems(root: Path) -> list[str]:
    """What is wrong with both locks of the project in `root`."""
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))
    groups = project["dependency-groups"]
    to_run = [Requirement(line) for line in [*project["project"]["dependencies"], *groups["build"]]]
    extras = project["project"].get("optional-dependencies", {}).values()
    to_develop = [*to_run, *(Requirement(line) for lines in [groups["dev"], *extras] for line in lines)]

    running, developing = (
        read_lock((root / lock).read_text(encoding="utf-8"))
        for lock in ("requirements.lock", "requirements-dev.lock")
    )
    return [
        *problems(to_run, running, "requirements.lock"),
        *problems(to_develop, developing, "requirements-dev.lock"),
        *(
            f"requirements-dev.lock does not hold {name} {pin.version} of requirements.lock"
            for name, pin in running.items()
            if name not in developing or developing[name].version != pin.version
        ),
    ]


if __name__ == "__main__":
    faults = project_problems(ROOT)
    print("\n".join([*faults, "Run `make lock`."] if faults else ["The locks answer pyproject.toml."]))
    sys.exit(bool(faults))
