"""The ensemble: seconds for some hundreds of members of a 45-minute visit, and the error of its short cut.

`python -m bench.ensemble [EXAMPLE ...] [--members N] [--checks N] [--workers N]`. Compiled code is warmed up
first and not counted; the forecast that the command line adds is not counted either.
"""

from __future__ import annotations

import argparse
import os
import time
from dataclasses import dataclass, replace
from pathlib import Path

from evenfield.case import Case, read_case
from evenfield.heat.power import PowerCurve
from evenfield.tolerance.check import EmulatorError
from evenfield.tolerance.ensemble import ensemble
from evenfield.tolerance.indices import ensemble_indices
from evenfield.tolerance.parallel import runner
from evenfield.tolerance.spread import spread_of

EXAMPLES = Path(__file__).parents[1] / "examples"
VISIT_S = 2700.0


@dataclass(frozen=True)
class EnsembleRow:
    """`seconds`: all of it without the check; `check_s`: the members computed in full; `cpu_s`: processor
    time of this process, check included (with one worker: of all); `indices_s`."""

    example: str
    members: int
    unknowns: int
    fields: int
    workers: int
    seconds: float
    parts: dict[str, float]
    check_s: float
    cpu_s: float
    indices_s: float
    error: EmulatorError | None

    def __str__(self) -> str:
        parts = ", ".join(f"{name} {value:.1f}" for name, value in self.parts.items() if name != "check")
        text = (
            f"ensemble, {self.example}: {self.members} members of 45 minutes, {self.unknowns} unknowns, "
            f"{self.fields} fields, {self.workers} processes: {self.seconds:.1f} s ({parts}), "
            f"processor time here {self.cpu_s:.1f} s; indices {self.indices_s:.1f} s; goal 30 s for 500"
        )
        if self.error is not None:
            e = self.error
            text += (
                f"\n    error on {e.members} members in full ({self.check_s:.1f} s), root mean square and "
                f"largest, K: zone means {e.zone_mean_k[0]:.3f} {e.zone_mean_k[1]:.2f}, zones' hottest "
                f"{e.zone_hottest_k[0]:.3f} {e.zone_hottest_k[1]:.2f}, hottest skin "
                f"{e.hottest_skin_k[0]:.3f} {e.hottest_skin_k[1]:.2f}, hottest fat {e.hottest_fat_k[0]:.3f} "
                f"{e.hottest_fat_k[1]:.2f}; evenness {e.evenness[0]:.3f} {e.evenness[1]:.2f}"
            )
        return text


def long_visit(example: str) -> Case:
    """An example's case with its highest power for 45 minutes."""
    case = read_case(EXAMPLES / f"{example}.toml")
    power = PowerCurve.constant(max(case.session.power.watts), VISIT_S)
    return replace(case, session=replace(case.session, power=power, after_s=0.0))


def row(example: str = "upper_arm", members: int = 512, checks: int = 16, workers: int = 2) -> EnsembleRow:
    """One example."""
    case = long_visit(example)
    with runner(workers) as work:
        ensemble(case, work, members=64, design=8, training=2, checks=2)
        clock = time.process_time()
        e = ensemble(case, work, members=members, checks=checks)
    cpu_s = time.process_time() - clock
    clock = time.perf_counter()
    ensemble_indices(e)
    return EnsembleRow(
        example=example,
        members=e.members,
        unknowns=len(spread_of(case).unknowns),
        fields=e.design,
        workers=workers,
        seconds=e.seconds["emulator"] + e.seconds["members"],
        parts=e.seconds,
        check_s=e.seconds["check"],
        cpu_s=cpu_s,
        indices_s=time.perf_counter() - clock,
        error=e.error,
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m bench.ensemble", description=__doc__)
    parser.add_argument("examples", nargs="*", default=["upper_arm", "thigh", "abdomen"])
    parser.add_argument("--members", type=int, default=512)
    parser.add_argument("--checks", type=int, default=16)
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args()
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} at the start", flush=True)
    for name in chosen.examples:
        print(row(name, chosen.members, chosen.checks, chosen.workers), flush=True)
