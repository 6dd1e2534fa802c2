"""docs/verification.md, written from the checks: `python -m evenfield.verify.page docs/verification.md`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path

from evenfield.verify.checks import Result, run_checks
from evenfield.verify.table import COLUMNS, row, summary

HEAD = """# Outside checks

Written by `python -m evenfield.verify.page docs/verification.md`; do not edit by hand. `evenfield verify`
runs the same checks and prints the same table.

Each row holds one number that evenfield computes against one that stands outside it. Labels say how sure the
expected value is: **P** confirmed in print, **M** from memory, **C** computed from the formula named, **A**
an assumption or a goal of ours. Facts of the trade are marked "common practice, no source". What the
quasi-static field leaves out is measured in [What the quasi-static field costs](quasi_static.md).
"""


def write_page(results: Sequence[Result]) -> str:
    """The page as Markdown: one table a subject, in the order of the results."""
    parts = [HEAD, f"{summary(results)}.\n"]
    for subject, group in groupby(results, key=lambda result: result.check.subject):
        parts.append(f"\n## {str(subject).capitalize()}\n")
        parts.append("| " + " | ".join(name or "result" for name in COLUMNS) + " |")
        parts.append("|" + "---|" * len(COLUMNS))
        parts += [
            "| " + " | ".join(cell.replace("|", "\\|") for cell in row(result)) + " |" for result in group
        ]
    return "\n".join(parts) + "\n"


def main(arguments: Sequence[str]) -> None:
    """Run every check and write the page to the path given."""
    if len(arguments) != 1:
        raise SystemExit("usage: python -m evenfield.verify.page PATH")
    results = run_checks(progress=lambda one, i, n: print(f"{i + 1}/{n} {one.id}", file=sys.stderr))
    Path(arguments[0]).write_text(write_page(results), encoding="utf-8")
    print(summary(results))


if __name__ == "__main__":
    main(sys.argv[1:])
