"""From a thermometer into a running visit, through a server that hangs and dies, and into its estimate."""

import asyncio
import os
import pty
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from evenfield.case import case_from_toml
from evenfield.clinic.visits import worker
from evenfield.conduct.events import event_from_mapping, event_to_mapping
from evenfield.follow import prepare, to_npz
from evenfield.forecast.accuracy import chosen_layout
from evenfield.thermometer import BluetoothFeed, ClinicServer, FeedRun, Outbox
from tests.thermometer.clinic import BARE, RunningClinic
from tests.thermometer.peripheral import ADDRESS, Peripheral
from tests.thermometer.test_serial import Thermometer

pytestmark = pytest.mark.slow


def message(celsius: float, stamp: datetime | None = None) -> bytes:
    """As a thermometer with a resolution of 0.1 °C indicates it; see test_measurement for published bytes."""
    number = round(celsius * 10).to_bytes(3, "little", signed=True) + b"\xff"
    if stamp is None:
        return b"\x00" + number
    last = bytes([stamp.month, stamp.day, stamp.hour, stamp.minute, stamp.second])
    return b"\x02" + number + stamp.year.to_bytes(2, "little") + last


async def until(true: Callable[[], bool]) -> None:
    """Wait for something, 60 s at most."""
    async with asyncio.timeout(60):
        while not true():
            await asyncio.sleep(0.05)


def test_nothing_is_lost_or_doubled_by_late_answers_and_departures(
    clinic: RunningClinic, tmp_path: Path
) -> None:
    thermometer, said = Peripheral(), list[str]()
    before = len(clinic.readings())
    server = ClinicServer(clinic.address, clinic.token)
    zone = server.visit(clinic.visit).zones[0]
    run = FeedRun(
        BluetoothFeed(ADDRESS, again_s=0.05, backend=thermometer.backend()),
        server,
        Outbox(tmp_path / "waiting", server.address, clinic.visit),
        clinic.visit,
        zone,
        said.append,
        first_rest_s=0.2,
    )
    stamp = datetime.now().replace(microsecond=0)

    async def story() -> None:
        following = asyncio.create_task(run.until_done())
        await until(lambda: bool(thermometer.subscribed))
        thermometer.indicate(message(34.1))
        thermometer.indicate(message(34.2, stamp))
        await until(lambda: run.saved == 2)
        clinic.hang(now=True)  # it will take what is sent now, but its answer comes too late
        thermometer.indicate(message(34.3))
        thermometer.indicate(message(70.0))
        thermometer.indicate(message(34.4, stamp - timedelta(hours=2)))
        await until(lambda: any("kept on this computer and tried again" in words for words in said))
        thermometer.leave()
        thermometer.in_reach = True
        await until(lambda: bool(thermometer.subscribed))
        thermometer.indicate(message(34.2, stamp))  # sent again, since its acknowledgement was lost
        thermometer.indicate(message(34.5))
        await until(lambda: len(run.outbox.waiting()) == 3)
        clinic.hang(now=False)
        await until(lambda: not run.outbox.waiting())
        following.cancel()

    asyncio.run(story())
    assert run.goodbye() == 0
    run.outbox.close()
    assert clinic.readings()[before:] == [(zone, 34.1), (zone, 34.2), (zone, 34.3), (zone, 34.5)]
    assert any("70.0 °C cannot be entered" in words for words in said)
    assert any("either it was kept since then or the thermometer's clock is wrong" in words for words in said)
    assert "The server answers again." in said
    assert (run.saved, run.refused) == (5, 0)  # the one sent twice was answered twice


class Command:
    """`evenfield thermometer` in a process of its own, and what it says."""

    def __init__(self, clinic: RunningClinic, *options: str, keyboard: int = subprocess.DEVNULL) -> None:
        call = [sys.executable, "-m", "evenfield", "thermometer", "--visit", str(clinic.visit)]
        call += ["--server", clinic.address, "--waiting", str(clinic.home.parent / "waiting"), *options]
        env = {**BARE, "EVENFIELD_TOKEN": clinic.token, "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            call, stdin=keyboard, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=env
        )
        self.said: list[str] = []
        self._lines: queue.Queue[str] = queue.Queue()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout
        for line in self.process.stdout:
            self._lines.put(line.rstrip("\n"))

    def waits_for(self, words: str) -> None:
        """The next line with these words, 60 s at most for each line."""
        while True:
            self.said.append(self._lines.get(timeout=60))
            if words in self.said[-1]:
                return

    def end(self, how: signal.Signals | None = None) -> int:
        """Its exit status, after this signal."""
        if how is not None:
            self.process.send_signal(how)
        status = self.process.wait(timeout=60)
        self._reader.join()
        assert self.process.stdout
        self.process.stdout.close()
        while not self._lines.empty():
            self.said.append(self._lines.get())
        return status


@pytest.fixture
def thermometer(tmp_path: Path) -> Iterator[Thermometer]:
    """One at a serial port."""
    made = Thermometer(tmp_path / "port")
    yield made
    made.unplug()


def test_the_command_is_killed_while_the_server_is_away_and_goes_on_at_its_next_start(
    clinic: RunningClinic, thermometer: Thermometer
) -> None:
    before = len(clinic.readings())
    zones = ClinicServer(clinic.address, clinic.token).visit(clinic.visit).zones
    zone = zones[1]
    options = ["--serial", str(thermometer.link), "--zone", zone, "--error-k", "0.4"]
    one = Command(clinic, *options)
    one.waits_for("is read.")
    thermometer.write(b"35.1 C\n")
    one.waits_for(f"saved: 35.1 °C, {zone}")
    clinic.kill()
    thermometer.write(b"95.36 F\n")
    one.waits_for(f"35.2 °C, {zone}: read")
    one.waits_for("kept on this computer and tried again")
    assert one.end(signal.SIGKILL) == -9
    clinic.serve()
    hand, keyboard = pty.openpty()
    two = Command(clinic, *options, keyboard=keyboard)
    os.close(keyboard)
    two.waits_for("Sent first: 1 reading of an earlier run.")
    two.waits_for(f"saved: 35.2 °C, {zone}")
    two.waits_for("is read.")
    thermometer.write(b"35.3\n")
    two.waits_for(f"saved: 35.3 °C, {zone}")
    os.write(hand, b"99\n6\n")
    two.waits_for(f"There is no zone “99”; readings are still of “{zone}”.")
    two.waits_for(f"Readings from now on are of “{zones[5]}”.")
    thermometer.write(b"35.4\n")
    two.waits_for(f"saved: 35.4 °C, {zones[5]}")
    assert two.end(signal.SIGINT) == 0
    os.close(hand)
    assert two.said[-2:] == ["Ended.", "3 saved."]
    assert clinic.readings()[before:] == [(zone, 35.1), (zone, 35.2), (zone, 35.3), (zones[5], 35.4)]
    kept = [event for event in clinic.events() if event["kind"] == "skin_reading"][before:]
    assert {event["error_c"] for event in kept} == {0.4}
    assert kept[1]["received_s"] - kept[1]["at_s"] > 0.5  # entered at the time it was read


def test_a_file_goes_in_whole_or_not_at_all_and_only_once(clinic: RunningClinic, tmp_path: Path) -> None:
    before = len(clinic.readings())
    zone = ClinicServer(clinic.address, clinic.token).visit(clinic.visit).zones[2]
    now = datetime.now().astimezone()
    lines = [f"{now - timedelta(minutes=minutes):%Y-%m-%dT%H:%M:%S%z},{zone},{celsius},C"
             for minutes, celsius in ((15, 33.1), (10, 33.9), (5, 34.8))]  # fmt: skip
    file = tmp_path / "readings.csv"
    file.write_text("\n".join(["time,zone,temperature,unit", *lines, f"yesterday,{zone},34,C"]))
    refused = Command(clinic, "--csv", str(file))
    assert refused.end() == 2
    assert refused.said == [
        "Line 5: “yesterday” is no time such as 2026-05-17T10:30:00.",
        "1 line of the file cannot be taken, so nothing of it was.",
    ]
    assert len(clinic.readings()) == before
    file.write_text("\n".join(["time,zone,temperature,unit", *lines]))
    for _ in range(2):
        taken = Command(clinic, "--csv", str(file))
        assert taken.end() == 0, taken.said
        assert taken.said[-1] == "3 saved."
    assert clinic.readings()[before:] == [(zone, 33.1), (zone, 33.9), (zone, 34.8)]
    ages = [
        event["received_s"] - event["at_s"]
        for event in clinic.events()
        if event["kind"] == "skin_reading" and event["zone"] == zone
    ]
    assert [round(age / 300) for age in ages] == [3, 2, 1]


def test_a_zone_that_is_not_there_a_wrong_token_and_no_source_are_refused(clinic: RunningClinic) -> None:
    wrong = Command(clinic, "--serial", "none", "--zone", "knee")
    assert wrong.end() == 2
    assert wrong.said[0].startswith("This visit has no zone “knee”; its zones are: ")
    none = Command(clinic)
    assert none.end() == 2
    assert none.said == ["Give --visit and one of --bluetooth, --serial, --csv; or --find."]
    other = RunningClinic(clinic.home, clinic.visit, "evf_wrong", clinic.port, clinic.address)
    stranger = Command(other, "--serial", "none", "--zone", "knee")
    assert stranger.end() == 2
    assert stranger.said == ["This needs a token that works: Authorization: Bearer …"]


READ_C = 36.5
"""Well below what the plan alone expects there after that time with the field on, about 38.5 °C."""


def test_the_estimate_uses_the_readings_of_the_thermometer(clinic: RunningClinic, tmp_path: Path) -> None:
    """What is in the record with and without one reading, on a very coarse grid: the way, not the numbers."""
    thermometer = Peripheral()
    server = ClinicServer(clinic.address, clinic.token)
    zone = server.visit(clinic.visit).zones[4]
    run = FeedRun(
        BluetoothFeed(ADDRESS, backend=thermometer.backend()),
        server,
        Outbox(tmp_path / "waiting", server.address, clinic.visit),
        clinic.visit,
        zone,
        lambda _: None,
    )

    async def story() -> None:
        following = asyncio.create_task(run.until_done())
        await until(lambda: bool(thermometer.subscribed))
        thermometer.indicate(message(READ_C))
        await until(lambda: run.saved == 1)
        following.cancel()

    asyncio.run(story())
    run.outbox.close()
    kept = clinic.events()[-1]
    assert (kept["kind"], kept["zone"], kept["celsius"], kept["error_c"]) == (
        "skin_reading",
        zone,
        READ_C,
        0.5,
    )
    plan = resources.files("evenfield.clinic.visits") / "data" / "demonstration_thigh.toml"
    case = case_from_toml(plan.read_text(encoding="utf-8"), "example")
    layout = chosen_layout(case.region, case.placed).coarser().coarser()
    model = tmp_path / "model.npz"
    model.write_bytes(to_npz(prepare(case, layout=layout)))
    began = [
        event_to_mapping(event_from_mapping({"id": f"begin-{kind}", "at_s": 5.0, "kind": kind, **said}))
        for kind, said in (("started", {}), ("power_set", {"watts": 60}))
    ]

    def skin(events: list[dict[str, Any]]) -> list[float]:
        asked = {"do": "look", "visit": 1, "model": str(model), "events": events}
        told = worker.Answers().to(asked | {"now_s": kept["received_s"] + 1.0})["estimate"]
        assert told["unused"] == []
        found: list[float] = next(one["skin_mean_c"] for one in told["zones"] if one["zone"] == zone)
        return found

    without, with_reading = skin(began), skin([*began, kept])
    assert abs(with_reading[0] - READ_C) < abs(without[0] - READ_C)
    assert with_reading[4] - with_reading[3] < without[4] - without[3]
