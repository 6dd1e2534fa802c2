"""The resident process of quick answers: one JSON line in, one JSON line out, until input ends.

`python -m evenfield.clinic.planning.previewer`; started by `resident`. Needs no Django and no database.
"""

import json
import os
import sys
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from evenfield.tolerance import WhatIfPreview

KEPT = 3


def main() -> None:
    """Answer until the input ends."""
    out = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)
    for line in sys.stdin:
        out.write(json.dumps(answer(json.loads(line))) + "\n")
        out.flush()


def answer(question: dict[str, Any]) -> dict[str, Any]:
    """The quick answer as plain data, or {"problem": one sentence}."""
    from evenfield.clinic.planning.asking import what_if_of
    from evenfield.clinic.planning.sheet import panel_sentence

    try:
        preview = _loaded(question["preview"], os.stat(question["preview"]).st_mtime_ns)
        return preview.preview(what_if_of(preview.case, question["asked"])).to_json()
    except ValueError as error:
        return {"problem": panel_sentence(error)}
    except (KeyError, OSError, ArithmeticError) as error:
        words = str(error.args[0] if isinstance(error, KeyError) else error)
        return {"problem": f"{words[:1].upper()}{words[1:]}."}


@lru_cache(maxsize=KEPT)
def _loaded(path: str, _written: int) -> "WhatIfPreview":
    from evenfield.tolerance import load_preview

    return load_preview(Path(path))


if __name__ == "__main__":
    main()
