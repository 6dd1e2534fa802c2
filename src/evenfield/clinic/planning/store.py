"""Where results lie: `plans/<plan>/<kind>/` in the data directory. All of it can be computed again.

What must not be lost, the case and the summary, stands in the database; so a backup leaves this folder out.
"""

import shutil
from collections.abc import Iterable
from pathlib import Path

from django.conf import settings


def folder_of(plan: int, kind: str) -> Path:
    """The folder of one result of a plan; it need not be there."""
    return Path(settings.EVENFIELD_HOME) / "plans" / str(plan) / kind


def sweep(plan: int, kind: str) -> None:
    """Remove what a process that was ended had begun to write."""
    for draft in folder_of(plan, kind).parent.glob(f"{kind}.*.new"):
        shutil.rmtree(draft, ignore_errors=True)


def forget(plans: Iterable[int]) -> None:
    """Remove everything computed for these plans."""
    for number in plans:
        shutil.rmtree(Path(settings.EVENFIELD_HOME) / "plans" / str(number), ignore_errors=True)
