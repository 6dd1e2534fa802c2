"""`evenfield thermometer`: readings of a thermometer or a file into a running visit."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from evenfield.cli.refused import RefusedError

if TYPE_CHECKING:
    from collections.abc import Callable

    from evenfield.thermometer import ClinicServer, Feed, FeedRun, LiveVisit

TOKEN = "EVENFIELD_TOKEN"
_LISTEN_S = 10.0


def thermometer(
    visit: Annotated[
        int | None, typer.Option("--visit", min=1, help="Number of the running visit, as in its address.")
    ] = None,
    zone: Annotated[
        str, typer.Option("--zone", help="Zone that is read, as on the live page; listed without it.")
    ] = "",
    bluetooth: Annotated[
        str, typer.Option("--bluetooth", metavar="ADDRESS", help="A Bluetooth health thermometer.")
    ] = "",
    serial: Annotated[
        str, typer.Option("--serial", metavar="PORT", help="A thermometer that writes lines to a port.")
    ] = "",
    csv: Annotated[
        Path | None,
        typer.Option("--csv", metavar="FILE", help="A file with time, zone, temperature, unit."),
    ] = None,
    find: Annotated[bool, typer.Option("--find", help="List Bluetooth thermometers in reach.")] = False,
    server: Annotated[
        str, typer.Option("--server", metavar="ADDRESS", help="The clinic's server.")
    ] = "http://127.0.0.1:8321",
    token_file: Annotated[
        Path | None, typer.Option("--token-file", metavar="FILE", help=f"Your token; else {TOKEN}.")
    ] = None,
    error_k: Annotated[
        float, typer.Option("--error-k", min=0.01, max=10.0, help="Standard error of a reading of skin, K.")
    ] = 0.5,
    baud: Annotated[int, typer.Option("--baud", min=300, max=1_000_000, help="Speed of the port.")] = 9600,
    trust_clock: Annotated[
        bool, typer.Option("--trust-clock", help="The thermometer's clock is right: take kept readings too.")
    ] = False,
    waiting: Annotated[
        Path | None,
        typer.Option("--waiting", metavar="FILE", help="Where readings wait; else in the data directory."),
    ] = None,
    forget_refused: Annotated[
        bool, typer.Option("--forget-refused", help="Remove the readings refused earlier from that file.")
    ] = False,
) -> None:
    """Take a thermometer's readings into a running visit until Ctrl-C (status 1 if one is not saved)."""
    from evenfield.thermometer import FeedError, OutboxError, ServerRefusedError, TableError

    try:
        if find:
            _find()
            return
        if visit is None or sum(map(bool, (bluetooth, serial, csv))) != 1:
            raise RefusedError("Give --visit and one of --bluetooth, --serial, --csv; or --find.")
        clinic = _clinic(server, token_file)
        live = _live(clinic, visit)
        feed = _feed(bluetooth, serial, csv, baud, live)
        if not csv:
            _check_zone(zone, live)
        run = _run(feed, clinic, visit, zone, waiting)
        run.error_k, run.trust_stamp = error_k, trust_clock or bool(csv)
        run.zones = live.zones if live and not csv else ()
        if forget_refused:
            run.outbox.forget_refused()
        raise typer.Exit(_follow(run))
    except TableError as error:
        for problem in error.problems:
            typer.echo(problem, err=True)
        raise RefusedError(str(error)) from error
    except (FeedError, OutboxError, ServerRefusedError) as error:
        raise RefusedError(str(error)) from error


def _find() -> None:
    import asyncio

    from evenfield.thermometer import in_reach

    typer.echo(f"Listening for {_LISTEN_S:.0f} s; many thermometers are heard only while they measure.")
    found = asyncio.run(in_reach(_LISTEN_S))
    for one in found:
        typer.echo(f"{one.address}  {one.name or 'without a name'}  {one.dbm} dBm")
    if not found:
        typer.echo("No health thermometer was heard.")


def _clinic(server: str, token_file: Path | None) -> ClinicServer:
    from evenfield.thermometer import ClinicServer

    try:
        token = token_file.read_text(encoding="utf-8") if token_file else os.environ.get(TOKEN, "")
    except (OSError, UnicodeDecodeError) as error:
        raise RefusedError(f"The token cannot be read from {token_file}.") from error
    token = token.strip()
    if not token.isascii() or not token.isprintable() or " " in token or not token:
        raise RefusedError(
            f"A token is needed, made on the page “Tokens”, in {TOKEN} or a file named with --token-file."
        )
    try:
        return ClinicServer(server, token)
    except ValueError as error:
        raise RefusedError(str(error)) from error


def _live(clinic: ClinicServer, visit: int) -> LiveVisit | None:
    """What the server says of the visit, None while it is away. Refused unless it takes readings."""
    from evenfield.thermometer import ServerAwayError

    try:
        live = clinic.visit(visit)
    except ServerAwayError as error:
        typer.echo(f"{error} The zone cannot be checked now.")
        return None
    if live.state not in {"running", "done"} or live.began is None:
        raise RefusedError(f"Visit {visit} is {live.state}: it takes readings once it has begun.")
    return live


def _feed(bluetooth: str, serial: str, csv: Path | None, baud: int, live: LiveVisit | None) -> Feed:
    from evenfield.thermometer import BluetoothFeed, SerialFeed, TableFeed

    if bluetooth:
        return BluetoothFeed(bluetooth)
    if serial:
        return SerialFeed(serial, baud)
    if live is None or live.began is None or csv is None:
        raise RefusedError("A file is taken only while the server answers: its zones are checked first.")
    return TableFeed(csv, live.zones, live.began, live.ended or datetime.now(UTC))


def _check_zone(zone: str, live: LiveVisit | None) -> None:
    zones = live.zones if live else ()
    if not zone or (zones and zone not in zones):
        said = f"This visit has no zone “{zone}”" if zone else "Say with --zone which zone is read"
        raise RefusedError(f"{said}; its zones are: {', '.join(zones) or 'not known while it is away'}.")
    if live and live.state != "running":
        raise RefusedError("The visit is closed: readings from now on are not its own.")


def _run(feed: Feed, clinic: ClinicServer, visit: int, zone: str, waiting: Path | None) -> FeedRun:
    from evenfield.clinic.home import home_path
    from evenfield.thermometer import FeedRun, Outbox

    file = waiting or home_path() / "thermometer-waiting.sqlite3"
    return FeedRun(feed, clinic, Outbox(file, clinic.address, visit), visit, zone, _say())


def _say() -> Callable[[str], None]:
    return lambda words: typer.echo(words)


async def _until_done(run: FeedRun) -> None:
    """Follow the feed, and change the zone as the person types."""
    import asyncio

    loop = asyncio.get_running_loop()

    def typed() -> None:
        line = sys.stdin.readline()
        run.choose(line)
        if not line:
            loop.remove_reader(sys.stdin)

    if run.zones and sys.stdin.isatty():
        with suppress(NotImplementedError):  # Windows: the zone is chosen at the start only
            loop.add_reader(sys.stdin, typed)
    await run.until_done()


def _follow(run: FeedRun) -> int:
    """Run until done or Ctrl-C; the exit status to leave."""
    import asyncio

    for one in run.outbox.refused():
        typer.echo(f"Refused earlier, not in the record: {one.words}: {one.refused} (--forget-refused)")
    if earlier := len(run.outbox.waiting(-1)):
        typer.echo(f"Sent first: {earlier} reading{'s' * (earlier > 1)} of an earlier run.")
    zone = f" into “{run.zone}”" if run.zone else ""
    typer.echo(f"From {run.feed.name}{zone}, standard error {run.error_k:g} K. Ctrl-C ends.")
    for place, name in enumerate(run.zones, start=1):
        typer.echo(f"{place:3}  {name}")
    if run.zones:
        typer.echo("To change the zone type its number and press Enter.")
    try:
        asyncio.run(_until_done(run))
    except KeyboardInterrupt:
        typer.echo("Ended.")
    finally:
        left = run.goodbye()
        run.outbox.close()
        words = f", {left} wait on this computer for the next start" if left else ""
        refused = f", {run.refused} refused" if run.refused else ""
        typer.echo(f"{run.saved} saved{refused}{words}.")
    return 1 if left or run.refused else 0
