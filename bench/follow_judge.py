"""Judging the live estimate on simulated people who differ from what it believes.

`python -m bench.follow_judge [--plans 10] [--truths 3] [--readers 10] [--first 0] [--keep DIR]` makes the
people of `bench.follow_truth` (10 · 3 · 10 = 300), follows each minute by minute, and prints how often the
intervals hold the truth, the errors, the same of the forecast alone, and the CPU time of an update. Plans,
truths and judged people are kept in DIR, so that a run can be stopped (Ctrl-C) and taken up again; after a
change to the estimate remove its `judged-*` files (and `plan-*`, if the plan's model changed).
"""

from __future__ import annotations

import argparse
import itertools
import json
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.follow_truth import END_S, Truth, make_truth, plan, readings
from evenfield.follow import (
    FieldOff,
    FieldOn,
    FollowModel,
    Input,
    PowerNow,
    TuningNow,
    from_npz,
    inputs,
    prepare,
    settled,
    take,
    to_npz,
)
from evenfield.follow import begin as begin_following
from evenfield.follow.follower import STEP_S, temperatures
from evenfield.follow.members import raw_zones

Floats = NDArray[np.float64]
KINDS = ("skin mean", "skin hottest", "fat mean", "fat hottest")
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
MINUTES = np.arange(1.0, END_S / 60.0 + 0.5)


@dataclass(frozen=True)
class Judged:
    """One person. `error`, `alone` (nt, 4, n): estimate and forecast alone less truth, K; `in90`, `in50`
    likewise; `update_s`: CPU seconds of each entry and tick."""

    error: Floats
    alone: Floats
    in90: NDArray[np.bool_]
    in50: NDArray[np.bool_]
    update_s: Floats
    disagreements: int


def forecast_alone(model: FollowModel, entries: Sequence[Input]) -> Floats:
    """The plan's own temperatures under the recorded power and tuning, (nt, 4, n)."""
    parameters = model.heat.parameters()
    state, on, watts, tuning = model.heat.start(parameters), False, 0.0, model.prior.usual_tuning.value
    out = []
    marks = sorted({*(60.0 * MINUTES), 0.0, *(float(entry.at_s) for entry in entries)})
    for begin, end in itertools.pairwise(marks):
        for entry in entries:
            if entry.at_s == begin:
                match entry:
                    case FieldOn():
                        on = True
                    case FieldOff():
                        on = False
                    case PowerNow(watts=w):
                        watts = w
                    case TuningNow(percent=percent):
                        tuning = percent
        absorbed = model.fraction.mid * tuning / model.prior.usual_tuning.value * watts if on else 0.0
        state = model.heat.advance(state, absorbed, end - begin, step_s=STEP_S)
        if end in 60.0 * MINUTES:
            out.append(raw_zones(model, state)[0])
    return np.stack(out).astype(float)


def judge(model: FollowModel, truth: Truth, reader: int, members: int | None = None) -> Judged:
    """Follow one person as the visit would be followed live."""
    read = readings(truth, tuple(zone.label for zone in model.zones), reader)
    entries = sorted([*truth.inputs, *read], key=lambda entry: entry.at_s)
    following = begin_following(model, np.random.default_rng([reader, 3]), members)
    error, in90, in50, seconds = [], [], [], []
    at = 0
    for minute in MINUTES:
        while at < len(entries) and entries[at].at_s <= 60.0 * minute:
            clock = time.thread_time()
            following = take(model, following, entries[at])
            seconds.append(time.thread_time() - clock)
            at += 1
        clock = time.thread_time()
        following = settled(model, following, 60.0 * minute)
        now = temperatures(model, following)
        low90, low50, middle, high50, high90 = np.quantile(now, QUANTILES, axis=0)
        seconds.append(time.thread_time() - clock)
        true = truth.zones_c[int(np.searchsorted(truth.looks_s, 60.0 * minute - 1e-6))]
        error.append(middle - true)
        in90.append((low90 <= true) & (true <= high90))
        in50.append((low50 <= true) & (true <= high50))
    alone = forecast_alone(model, truth.inputs) - truth.zones_c[1:]
    return Judged(
        np.stack(error),
        alone,
        np.stack(in90),
        np.stack(in50),
        np.array(seconds),
        len(following.disagreements),
    )


def table(people: Sequence[Judged]) -> str:
    """The result in words."""
    error = np.concatenate([p.error for p in people])
    alone = np.concatenate([p.alone for p in people])
    in90 = np.concatenate([p.in90 for p in people])
    in50 = np.concatenate([p.in50 for p in people])
    seconds = np.concatenate([p.update_s for p in people])
    lines = [f"{len(people)} people, {error.size // 4} values of each kind"]
    for n, kind in enumerate(KINDS):
        rms, was = (float(np.sqrt(np.mean(x[:, n] ** 2))) for x in (error, alone))
        lines.append(
            f"  {kind:12s} 90 % holds {100 * in90[:, n].mean():5.1f} %, "
            f"50 % holds {100 * in50[:, n].mean():5.1f} %; rms {rms:.2f} K, "
            f"bias {error[:, n].mean():+.2f} K; forecast alone {was:.2f} K, "
            f"{100 * (1 - rms / was):.0f} % less"
        )
    low, middle, high = 1e3 * np.quantile(seconds, [0.5, 0.95, 0.99])
    lines.append(
        f"  update, CPU time: median {low:.1f} ms, 95 % within {middle:.1f} ms, 99 % within {high:.1f} ms"
    )
    lines.append(f"  people with a disagreement: {sum(p.disagreements > 0 for p in people)}")
    return "\n".join(lines)


def by_body(people: Sequence[Judged], readers: int) -> str:
    """How much of the result is the choice of bodies, each with so many readers; and the worst of them."""

    def squares(which: Sequence[Floats]) -> Floats:
        each = np.stack([(one**2).mean(axis=(0, 2)) for one in which])
        return np.asarray(each.reshape(-1, readers, len(KINDS)).mean(axis=1))

    error, alone = squares([p.error for p in people]), squares([p.alone for p in people])
    held = np.stack([p.in90.mean(axis=(0, 2)) for p in people]).reshape(-1, readers, len(KINDS)).mean(axis=1)
    rng = np.random.default_rng(0)
    drawn = rng.integers(len(error), size=(2000, len(error)))
    less = 1.0 - np.sqrt(error[drawn].mean(axis=1) / alone[drawn].mean(axis=1))
    lines = [f"{len(error)} bodies"]
    for n, kind in enumerate(KINDS):
        low, high = 100 * np.quantile(less[:, n], [0.05, 0.95])
        worst = int(np.argmax(error[:, n]))
        lines.append(
            f"  {kind:12s} less by {low:.0f} to {high:.0f} % for other such bodies (90 %, bootstrap); "
            f"worst body rms {np.sqrt(error[worst, n]):.2f} K, least held {100 * held[:, n].min():.0f} %; "
            f"{100 * (held[:, n] < 0.85).mean():.0f} % of bodies below 85 %"
        )
    return "\n".join(lines)


def kept_model(folder: Path, number: int) -> FollowModel:
    """A plan's model, built once."""
    path = folder / f"plan-{number}.npz"
    if not path.exists():
        path.write_bytes(to_npz(prepare(plan(number))))
    return from_npz(path.read_bytes())


def kept_truth(folder: Path, number: int, person: int, *, coarse: bool = False) -> Truth:
    """A plan's person, computed once."""
    path = folder / f"truth-{number}-{person}{'-coarse' if coarse else ''}.npz"
    if not path.exists():
        truth = make_truth(plan(number), 1000 * number + person, coarse=coarse)
        words = json.dumps([{"kind": type(entry).__name__, **asdict(entry)} for entry in truth.inputs])
        with path.open("wb") as file:
            np.savez(
                file,
                words=words,
                looks_s=truth.looks_s,
                zones_c=truth.zones_c,
                spots_c=truth.spots_c,
                differs=truth.differs,
            )
    with np.load(path) as kept:
        entries = [getattr(inputs, entry.pop("kind"))(**entry) for entry in json.loads(kept["words"].item())]
        return Truth(
            tuple(entries), kept["looks_s"], kept["zones_c"], kept["spots_c"], kept["differs"].item()
        )


def kept_person(
    folder: Path, number: int, person: int, reader: int, model: FollowModel, truth: Truth
) -> Judged:
    """One judged person, followed once."""
    path = folder / f"judged-{number}-{person}-{reader}.npz"
    if not path.exists():
        found = judge(model, truth, 100_000 * number + 100 * person + reader)
        with path.open("wb") as file:
            np.savez(file, **vars(found))
    with np.load(path) as kept:
        return Judged(**{name: kept[name] for name in kept.files})


def main() -> None:
    """Judge and print, plan after plan."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plans", type=int, default=10)
    parser.add_argument("--truths", type=int, default=3)
    parser.add_argument("--readers", type=int, default=10)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--from-person", type=int, default=0)
    parser.add_argument("--coarse", action="store_true", help="truth on the estimate's grid: quick")
    parser.add_argument("--make", action="store_true", help="only make plans and truths")
    parser.add_argument("--keep", type=Path, default=Path("build/follow_judge"))
    asked = parser.parse_args()
    asked.keep.mkdir(parents=True, exist_ok=True)
    people: list[Judged] = []
    try:
        for number in range(asked.first, asked.first + asked.plans):
            model = kept_model(asked.keep, number)
            for person in range(asked.from_person, asked.from_person + asked.truths):
                truth = kept_truth(asked.keep, number, person, coarse=asked.coarse)
                print(f"plan {number} person {person}: {truth.differs}", flush=True)
                for reader in range(0 if asked.make else asked.readers):
                    if asked.coarse:
                        people.append(judge(model, truth, 100_000 * number + 100 * person + reader))
                    else:
                        people.append(kept_person(asked.keep, number, person, reader, model, truth))
            if people:
                print(table(people[-asked.truths * asked.readers :]), flush=True)
    except KeyboardInterrupt:
        print("stopped; so far:")
    if people:
        print(table(people))
    if people and len(people) % asked.readers == 0:
        print(by_body(people, asked.readers))


if __name__ == "__main__":
    main()
