"""`python -m bench.kills --count N`: the server killed N times at random moments while tablets write.

Each tablet keeps an entry until it is answered, as the live page does, and sends it again until then. At the
end: every acknowledged entry is there, none twice, and the chain holds.
"""

from __future__ import annotations

import argparse
import http.client
import random
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from bench.live_clinic import Nursery, Server, Tablet, entry, make_clinic


@dataclass(frozen=True)
class Result:
    """What came of it: kills, entries acknowledged, sent more than once, lost, doubled; the chain's word."""

    kills: int
    acknowledged: int
    sent_again: int
    lost: int
    doubled: int
    chain: str

    def __str__(self) -> str:
        return (
            f"{self.kills} kills, {self.acknowledged} entries acknowledged, "
            f"{self.sent_again} sendings repeated, {self.lost} lost, {self.doubled} doubled, "
            f"chain: {self.chain}"
        )


class Writer(threading.Thread):
    """One tablet that writes without pause."""

    def __init__(self, tablet: Tablet, visit: int, over: threading.Event) -> None:
        super().__init__(daemon=True)
        self.tablet, self.visit, self.over = tablet, visit, over
        self.acknowledged: list[str] = []
        self.sent_again = 0

    def run(self) -> None:
        """Until told to end; the last entry is seen through."""
        number = 0
        while not self.over.is_set():
            number += 1
            one = entry({"kind": "noted", "text": f"entry {number}"})
            while True:
                try:
                    answer = self.tablet.enter(self.visit, one)
                except (OSError, http.client.HTTPException):
                    self.sent_again += 1
                    time.sleep(0.1)
                    continue
                assert answer["kept"], answer
                self.acknowledged.append(one["id"])
                break


class Victim:
    """The server that is killed. Most starts are split off a process that has read the program already; every
    `COLD`-th is a start from nothing, as in a clinic."""

    COLD = 20

    def __init__(self, home: Path) -> None:
        self.nursery, self.server, self.starts = Nursery(home), Server(home), 1
        self.split: int | None = None

    def kill(self) -> None:
        """`kill -9`."""
        if self.split is None:
            self.server.kill()
        else:
            self.nursery.kill(self.split)

    def again(self) -> None:
        """A new process at the same port."""
        self.starts += 1
        self.split = None
        if self.starts % self.COLD == 0:
            self.server.again()
        else:
            self.split = self.nursery.start(self.server.port)


def run(home: Path, kills: int, tablets: int = 3, seed: int = 1, minutes: float = 1e9) -> Result:
    """Write and kill, so often or so long."""
    chance = random.Random(seed)
    visits = make_clinic(home, tablets)
    until = time.monotonic() + 60.0 * minutes
    victim, over, done = Victim(home), threading.Event(), 0
    try:
        first = Tablet.signed_in(victim.server.port)
        writers = [Writer(first.another(), visit, over) for visit in visits]
        for writer in writers:
            writer.start()
        while done < kills and time.monotonic() < until:
            _under_way(writers)
            time.sleep(chance.uniform(0.0, 1.0))
            victim.kill()
            done += 1
            victim.again()
            if done % 25 == 0:
                said = sum(len(writer.acknowledged) for writer in writers)
                print(f"{done} kills, {said} acknowledged", file=sys.stderr, flush=True)
        _under_way(writers)
        over.set()
        for writer in writers:
            writer.join(timeout=60)
    finally:
        victim.kill()
        victim.nursery.end()
    return _counted(home, done, writers)


def _under_way(writers: list[Writer]) -> None:
    """Wait until each tablet has had an answer from the present server: then entries are on their way."""
    before = [len(writer.acknowledged) for writer in writers]
    until = time.monotonic() + 120
    while any(len(w.acknowledged) <= n for w, n in zip(writers, before, strict=True)):
        if time.monotonic() > until or not all(writer.is_alive() for writer in writers):
            raise RuntimeError("a tablet got no answer within two minutes")
        time.sleep(0.02)


def _counted(home: Path, kills: int, writers: list[Writer]) -> Result:
    with sqlite3.connect(f"file:{home}/evenfield.sqlite3?mode=ro", uri=True) as record:
        rows = [str(row[0]) for row in record.execute("select entry_id from visits_visitentry")]
    said = [name for writer in writers for name in writer.acknowledged]
    call = (
        "from pathlib import Path; from evenfield.clinic.terminal import verify_audit;"
        f"print(verify_audit(Path({str(home)!r})).problems or 'holds')"
    )
    chain = subprocess.run([sys.executable, "-c", call], capture_output=True, text=True, check=True)
    return Result(
        kills=kills,
        acknowledged=len(said),
        sent_again=sum(writer.sent_again for writer in writers),
        lost=len(set(said) - set(rows)),
        doubled=len(rows) - len(set(rows)) + len(said) - len(set(said)),
        chain=chain.stdout.strip(),
    )


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m bench.kills", description=__doc__)
    parser.add_argument("--count", type=int, default=1000, help="how many kills (1000)")
    parser.add_argument("--seed", type=int, default=1, help="of the random moments (1)")
    parser.add_argument("--minutes", type=float, default=1e9, help="stop after so long (never)")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="evenfield-kills-") as place:
        print(run(Path(place) / "record", chosen.count, seed=chosen.seed, minutes=chosen.minutes))


if __name__ == "__main__":
    main()
