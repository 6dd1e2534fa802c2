"""The process in which live estimates are computed: one JSON line in, one JSON line out, until input ends.
While it computes it sends an empty line every few seconds, by which the server tells work from a hang.

`python -m evenfield.clinic.visits.worker`; started by `estimating`. Needs no Django and no database.
"""

import json
import os
import secrets
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np

from evenfield.case import CaseError, case_from_toml
from evenfield.clinic.visits.translation import inputs_of, shown
from evenfield.conduct import event_from_mapping
from evenfield.follow import (
    Following,
    FollowModel,
    Input,
    begin,
    from_npz,
    look,
    prepare,
    settled,
    take,
    to_npz,
)


class Follower:
    """One visit followed: what was taken in so far, and from which model."""

    def __init__(self, model: FollowModel, seed: int) -> None:
        self.model, self.seed = model, seed
        self._taken: list[Input] = []
        self._following = self._begun()

    def _begun(self) -> Following:
        return begin(self.model, np.random.default_rng(self.seed))

    def told(self, inputs: list[Input], now_s: float) -> dict[str, Any]:
        """The estimate at a moment. What was taken before is used again only if it is the beginning of what
        is told now; else the visit is rebuilt. Both give the same numbers (see `follow.follower`)."""
        known = len(self._taken)
        later = inputs[known:]
        follows_on = inputs[:known] == self._taken and self._following.at_s <= now_s
        if not follows_on or any(entry.at_s < self._following.at_s for entry in later):
            self._taken, self._following, later = [], self._begun(), inputs
        for entry in sorted(later, key=lambda entry: entry.at_s):
            self._following = take(self.model, self._following, entry)
            self._taken.append(entry)
        self._following = settled(self.model, self._following, now_s)
        return shown(look(self.model, self._following, now_s))


class Answers:
    """Everything the process keeps between questions: visits being followed."""

    def __init__(self) -> None:
        self._followers: dict[str, Follower] = {}

    def to(self, question: dict[str, Any]) -> dict[str, Any]:
        """The answer to one question, or {"problem": a few words}."""
        try:
            if question["do"] == "prepare":
                return self._prepare(question)
            return self._look(question)
        except CaseError as error:
            return {"problem": f"the plan cannot be used ({error})"}
        except (ValueError, KeyError, OSError, ArithmeticError, IndexError) as error:
            return {"problem": f"the estimate failed ({type(error).__name__}: {error})"}

    def _prepare(self, question: dict[str, Any]) -> dict[str, Any]:
        path = Path(question["model"])
        if not path.exists():
            content = to_npz(prepare(case_from_toml(question["case"], "the saved plan")))
            path.parent.mkdir(mode=0o700, exist_ok=True)
            draft = path.with_suffix(f".{secrets.token_hex(4)}.new")
            descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "wb") as file:
                file.write(content)
            draft.replace(path)
        return {"prepared": True}

    def _look(self, question: dict[str, Any]) -> dict[str, Any]:
        events = [event_from_mapping(event) for event in question["events"]]
        now_s = max(float(question["now_s"]), 0.0)
        key = f"{question['visit']} {question['model']}"
        follower = self._followers.get(key)
        if follower is None:
            follower = Follower(_read(Path(question["model"])), question["visit"])
            self._followers[key] = follower
            while len(self._followers) > 60:
                del self._followers[next(iter(self._followers))]
        try:
            return {"estimate": follower.told(inputs_of(events, now_s), now_s)}
        except Exception:
            del self._followers[key]
            raise


def _read(path: Path) -> FollowModel:
    """A prepared model. A damaged file is removed, so that the next question prepares it anew."""
    try:
        return from_npz(path.read_bytes())
    except (EOFError, BadZipFile, KeyError, ValueError) as error:
        path.unlink(missing_ok=True)
        raise ValueError(f"the prepared model was damaged and is made anew ({error})") from None


@contextmanager
def signs_of_life(every_s: float = 5.0) -> Iterator[None]:
    """Empty lines while something is computed."""
    over = threading.Event()

    def tell() -> None:
        with suppress(BrokenPipeError):  # the server has ended
            while not over.wait(every_s):
                sys.stdout.write("\n")
                sys.stdout.flush()

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield
    finally:
        over.set()
        teller.join()


def main() -> None:
    """Answer until the input ends. Estimates give way to everything else on the machine."""
    with suppress(OSError):
        os.nice(5)
    answers = Answers()
    try:
        for line in sys.stdin:
            with signs_of_life():
                answer = json.dumps(answers.to(json.loads(line)))
            sys.stdout.write(answer + "\n")
            sys.stdout.flush()
    except BrokenPipeError:  # the server has ended; nor may Python's own last flush complain
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    main()
