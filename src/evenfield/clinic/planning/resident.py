"""Quick answers: one resident process holds the previews last asked for and answers in a few hundredths of a
second. It is asked one thing at a time; while it reads a preview for the first time, the page asks again."""

import json
import subprocess
import threading
from pathlib import Path
from typing import Any

from evenfield.clinic.planning.jobs import worker

WAIT_S = 0.3


class Resident:
    """The process, and the answer that came too late for who asked; asked again, it is there at once."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[str] | None = None
        self._late: tuple[dict[str, Any], dict[str, Any]] | None = None

    def ask(self, preview: Path, asked: dict[str, Any], wait_s: float = WAIT_S) -> dict[str, Any] | None:
        """The answer, {"problem": a sentence}, or None while it is not ready within `wait_s`."""
        question = {"preview": str(preview), "asked": asked}
        late = self._late
        if late and late[0] == question:
            self._late = None
            return late[1]
        box: list[dict[str, Any]] = []
        if not self._lock.acquire(timeout=wait_s):
            return None
        thread = threading.Thread(target=self._answer, args=(question, box), daemon=True)
        thread.start()
        thread.join(wait_s)
        if box:
            self._late = None
            return box[0]
        return None

    def _answer(self, question: dict[str, Any], box: list[dict[str, Any]]) -> None:
        """Holds the lock, which `ask` took, until the process has answered."""
        try:
            if self._process is None or self._process.poll() is not None:
                self._process = worker("evenfield.clinic.planning.previewer")
            process = self._process
            assert process.stdin
            assert process.stdout
            process.stdin.write(json.dumps(question) + "\n")
            process.stdin.flush()
            box.append(json.loads(process.stdout.readline()))
            self._late = question, box[0]
        except (OSError, ValueError):
            self._process = None
            box.append({"problem": "The quick answer could not be computed; ask for the full answer."})
        finally:
            self._lock.release()


resident = Resident()
