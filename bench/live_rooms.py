"""`python -m bench.live_rooms`: many visits at once, asking every second; how soon entries are answered.

Each room asks for its heartbeat once a second and enters something every `--every` seconds; the estimates
are computed by the server's own worker for all of them. The first `--settle` seconds, in which every room
opens its page at the same moment, are left out. `--cost` tells instead what an entry and a heartbeat cost the
server in processor time, one after the other, which other work on the machine changes less.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from bench.live_clinic import Server, Tablet, entry, make_clinic

EVENTS = (
    {"kind": "power_set", "watts": 60},
    {"kind": "tuning_shown", "percent": 85},
    {"kind": "comfort", "score": 8},
    {"kind": "skin_reading", "zone": "inner: centre", "celsius": 36.2},
)


class RoomClient(threading.Thread):
    """One room's tablet."""

    def __init__(self, tablet: Tablet, visit: int, settled: float, until: float, every_s: float) -> None:
        super().__init__(daemon=True)
        self.tablet, self.visit, self.every_s = tablet, visit, every_s
        self.settled, self.until = settled, until
        self.entries: list[float] = []
        self.beats: list[float] = []
        self.estimate_age_s: float | None = None

    def run(self) -> None:
        """Until the end."""
        chance = random.Random(self.visit)
        beat_at = time.monotonic() + chance.uniform(0, 1)
        enter_at = time.monotonic() + chance.uniform(0, self.every_s)
        last = "0"
        while time.monotonic() < self.until:
            now = time.monotonic()
            if now >= enter_at:
                answer = self.tablet.enter(self.visit, entry(dict(chance.choice(EVENTS))))
                assert answer["kept"], answer
                if now > self.settled:
                    self.entries.append(time.monotonic() - now)
                enter_at = max(enter_at + self.every_s, time.monotonic())
            elif now >= beat_at:
                status, content = self.tablet.ask("GET", f"/visits/{self.visit}/now/?after={last}")
                assert status == 200, status
                told = json.loads(content)
                if told["estimate_at_s"] is not None:
                    self.estimate_age_s = told["now_s"] - told["estimate_at_s"]
                if now > self.settled:
                    self.beats.append(time.monotonic() - now)
                last = "1000000"
                beat_at = max(beat_at + 1.0, time.monotonic())
            else:
                time.sleep(min(enter_at, beat_at) - now)


def _case_and_model() -> tuple[str, bytes]:
    from evenfield.case import case_from_toml
    from evenfield.follow import prepare, to_npz
    from evenfield.forecast.accuracy import chosen_layout

    text = (Path(__file__).parents[1] / "examples/upper_arm.toml").read_text("utf-8")
    case = case_from_toml(text, "example")
    layout = chosen_layout(case.region, case.placed).coarser().coarser()
    return text, to_npz(prepare(case, layout=layout))


def measure(
    home: Path, rooms: int, seconds: float, every_s: float, estimates: bool, settle_s: float = 5.0
) -> str:
    """A sentence with the figures."""
    case, model = _case_and_model() if estimates else ("", b"")
    visits = make_clinic(home, rooms, case)
    if estimates:
        from evenfield.clinic.visits.estimating import Question

        for visit in visits:
            path = Question(visit, case, (), 0.0).model
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(model)
    server = Server(home)
    try:
        first = Tablet.signed_in(server.port)
        settled = time.monotonic() + settle_s
        until = settled + seconds
        clients = [RoomClient(first.another(), visit, settled, until, every_s) for visit in visits]
        for client in clients:
            client.start()
        time.sleep(settle_s)
        used = server.processor_s()
        for client in clients:
            client.join()
        used = server.processor_s() - used
    finally:
        server.stop()
    lines = [_figures(clients, seconds), f"the server used {100 * used / seconds:.0f} % of a processor"]
    if ages := [client.estimate_age_s for client in clients if client.estimate_age_s is not None]:
        lines.append(f"{len(ages)} rooms have an estimate, {np.median(ages):.0f} s old (median at the end)")
    return "\n".join(lines)


def cost(home: Path, count: int = 300) -> str:
    """Processor time of an entry and of a heartbeat, one after the other, without estimates."""
    visits = make_clinic(home, 5)
    server = Server(home)
    lines = []
    try:
        tablet = Tablet.signed_in(server.port)

        def enter(n: int) -> None:
            assert tablet.enter(visits[n % 5], entry(dict(EVENTS[n % len(EVENTS)])))["kept"]

        def beat(n: int) -> None:
            assert tablet.ask("GET", f"/visits/{visits[n % 5]}/now/?after=1000000")[0] == 200

        for name, one in (("an entry", enter), ("a heartbeat", beat)):
            for n in range(5):
                one(n)
            used, clock = server.processor_s(), time.monotonic()
            for n in range(count):
                one(n)
            used, took = server.processor_s() - used, time.monotonic() - clock
            lines.append(
                f"{name}: {1000 * used / count:.1f} ms of a processor, {1000 * took / count:.1f} ms in all"
            )
    finally:
        server.kill()
    return "\n".join(lines)


def _figures(clients: list[RoomClient], seconds: float) -> str:
    lines = []
    for name in ("entries", "beats"):
        taken = np.array([one for client in clients for one in getattr(client, name)])
        p50, p90, p99 = (1000 * np.quantile(taken, share) for share in (0.5, 0.9, 0.99))
        lines.append(
            f"{name}: {taken.size}, {taken.size / seconds:.1f} a second; answered in {p50:.0f} ms (median), "
            f"{p90:.0f} ms (90 %), {p99:.0f} ms (99 %), {1000 * taken.max():.0f} ms (longest)"
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m bench.live_rooms", description=__doc__)
    parser.add_argument("--rooms", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument(
        "--every", type=float, default=10.0, help="seconds from entry to entry in a room (10)"
    )
    parser.add_argument("--no-estimates", action="store_true")
    parser.add_argument("--settle", type=float, default=5.0, help="seconds left out at the beginning (5)")
    parser.add_argument("--cost", action="store_true", help="processor time of an entry and of a heartbeat")
    chosen = parser.parse_args()
    place = Path(tempfile.mkdtemp(prefix="evenfield-rooms-"))
    try:
        if chosen.cost:
            print(cost(place / "record"))
            return
        print(
            f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} at the start; {chosen.rooms} rooms"
        )
        estimates = not chosen.no_estimates
        home = place / "record"
        print(measure(home, chosen.rooms, chosen.seconds, chosen.every, estimates, chosen.settle))
        print(f"load {os.getloadavg()[0]:.1f} at the end")
    finally:
        shutil.rmtree(place, ignore_errors=True)


if __name__ == "__main__":
    main()
