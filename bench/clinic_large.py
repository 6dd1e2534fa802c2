"""`python -m bench.clinic_large`: a clinic with years of work in its record, and how long every page takes.

It makes an invented clinic in a directory that is thrown away (or in --out, where a clinic made before is
taken up again), asks every page that answers GET, the searches and the exports through Django's test client,
with all of the middleware, and prints for each: median, 99th percentile, questions to the database, size.
"""

from __future__ import annotations

import argparse
import os
import pickle
import shutil
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

from bench.own_postgresql import installed, own_postgresql

SLOW_MS = 300


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m bench.clinic_large", description=__doc__)
    parser.add_argument("--people", type=int, default=100_000)
    parser.add_argument("--visits", type=int, default=400_000)
    parser.add_argument(
        "--events",
        type=int,
        default=20_000_000,
        help="rows of the append-only tables: entries and their lines in the trail",
    )
    parser.add_argument("--database", choices=("sqlite", "postgresql"), default="sqlite")
    parser.add_argument("--out", type=Path, help="keep the clinic here, or take up the one that is here")
    parser.add_argument("--requests", type=int, default=30, help="how often each page is asked (30)")
    parser.add_argument("--only", default="", help="pages whose name holds this")
    parser.add_argument("--verify", action="store_true", help="read every chain with audit verify at the end")
    chosen = parser.parse_args()
    with ExitStack() as stack:
        home = chosen.out or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="evenfield-large-")))
        if chosen.database == "postgresql" and "DATABASE_URL" not in os.environ:
            # A socket's path is short, and the server's own user must reach it: never below a private folder.
            place = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="evenfield-pg-")))
            server = own_postgresql(place, installed(), durable=True)
            os.environ["DATABASE_URL"] = stack.enter_context(server)
        return _run(chosen, home)


def _run(chosen: argparse.Namespace, home: Path) -> int:
    from evenfield.clinic.terminal import migrate, start_django

    start_django(home, demonstration=True)
    migrate()
    from django.db import connection

    print(
        f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} at the start, {connection.vendor}",
        flush=True,
    )
    from bench.clinic_made import Size, make_clinic
    from bench.clinic_pages import Browser, ask_page, pages

    noted = home / "bench.pickle"
    if noted.exists():
        made, browser = pickle.loads(noted.read_bytes())
        browser.wake()
    else:
        needed = 900 * chosen.events
        if shutil.disk_usage(home).free < needed:
            print(f"{needed / 1e9:.0f} GB are needed in {home}.", file=sys.stderr)
            return 2
        size = Size(chosen.people, chosen.visits, chosen.events, history=min(120, chosen.visits // 10))
        made = make_clinic(size, lambda line: print(line, flush=True))
        browser = Browser()
        noted.write_bytes(pickle.dumps((made, browser)))
    _size(home)
    slow = 0
    every = [page for page in pages(made, browser.account) if chosen.only in page.name]
    print(
        f"{len(every)} pages, up to {chosen.requests} times each; ms (by the clock, by the processor), kB\n"
    )
    print("  median      p99  processor  questions     size  status  page")
    for page in every:
        found = ask_page(browser, page, chosen.requests)
        slow += found.median_ms > SLOW_MS
        times = f"{found.median_ms:8.1f} {found.p99_ms:8.1f} {found.processor_ms:10.1f}"
        asked = f"{found.queries:10d} {found.size / 1000:8.1f}  {found.status:6d}"
        print(f"{times} {asked}  {page.name}", flush=True)
    print(f"\n{slow} of {len(every)} pages above {SLOW_MS} ms")
    return _verified() if chosen.verify else 0


def _size(home: Path) -> None:
    from django.apps import apps
    from django.db import connection

    if connection.vendor == "sqlite":
        held = (home / "evenfield.sqlite3").stat().st_size
    else:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_database_size(current_database())")
            held = cursor.fetchone()[0]
    names = ["people.Person", "courses.Visit", "visits.VisitEntry", "setup_check.SetupEntry",
             "screening.ScreeningEntry", "measuring.MeasureEntry", "audit.AuditEvent"]  # fmt: skip
    counts = [f"{name.split('.')[1]} {apps.get_model(name)._default_manager.count()}" for name in names]
    print(f"{held / 1e9:.2f} GB; {', '.join(counts)}", flush=True)


def _verified() -> int:
    from evenfield.clinic.audit.trail import verify_chain

    clock = time.monotonic()
    found = verify_chain()
    words = "holds" if found.holds else "does not hold"
    print(f"audit verify: {words}, {found.rows} rows in {time.monotonic() - clock:.0f} s")
    print("\n".join(found.problems[:20]))
    return not found.holds


if __name__ == "__main__":
    raise SystemExit(main())
