"""The process of one computation: a question as one JSON line in, progress and the end as JSON lines out.

`python -m evenfield.clinic.planning.worker`; started by `jobs`. Needs no Django and no database. Results go
into a folder beside the one asked for, which takes its name when all is written.
"""

import json
import os
import shutil
import sys
import threading
from contextlib import suppress
from pathlib import Path
from time import monotonic
from typing import Any

TELL_S = 0.3


def main() -> None:
    """Answer the one question."""
    with suppress(OSError):
        os.nice(10)
    out = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # what a library prints must not be taken for an answer
    question = json.loads(sys.stdin.readline())
    threading.Thread(target=_end_with_the_server, daemon=True).start()
    last_at, last_step = 0.0, ""

    def say(message: dict[str, Any]) -> None:
        out.write(json.dumps(message) + "\n")
        out.flush()

    def progress(step: str, share: float) -> None:
        nonlocal last_at, last_step
        now = monotonic()
        if step != last_step or now - last_at > TELL_S:
            last_at, last_step = now, step
            say({"step": step, "share": round(min(max(share, 0.0), 1.0), 3)})

    say(answer(question, progress))


def answer(question: dict[str, Any], progress: Any) -> dict[str, Any]:
    """{"done": plain data} or {"problem": one sentence}."""
    from evenfield.case import case_from_toml
    from evenfield.clinic.planning.tasks import TASKS

    folder = Path(question["folder"])
    draft = folder.with_name(f"{folder.name}.{os.getpid()}.new")
    try:
        case = case_from_toml(question["case"], "the plan")
        draft.mkdir(parents=True, mode=0o700)
        result = TASKS[question["kind"]](case, question["asked"], draft, progress)
        if any(draft.iterdir()):
            shutil.rmtree(folder, ignore_errors=True)
            draft.rename(folder)
    except (ValueError, KeyError, ArithmeticError, IndexError, MemoryError, OSError) as error:
        told = str(error) or type(error).__name__
        return {"problem": f"This could not be computed: {told}"}
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return {"done": result}


def _end_with_the_server() -> None:
    sys.stdin.read()
    os._exit(1)


if __name__ == "__main__":
    main()
