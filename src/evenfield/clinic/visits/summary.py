"""A visit in numbers: what its entries come to. Each number says what it is counted from."""

from collections.abc import Sequence
from dataclasses import dataclass

from evenfield.clinic.visits.models import Kind
from evenfield.clinic.visits.running import Row, Running
from evenfield.conduct import events as said
from evenfield.conduct import standing
from evenfield.conduct.fold import fold


@dataclass(frozen=True)
class PowerStep:
    """Power from a moment on: set power while the field is on, else 0 W."""

    at_s: float
    watts: float


@dataclass(frozen=True)
class Summary:
    """What happened. `energy_wmin` is set power times time with the field on: what the device showed, not
    what was absorbed. Times in seconds from the visit's start."""

    facts: tuple[said.Fact, ...]
    power: tuple[PowerStep, ...]
    heated_s: float
    paused_s: float
    pauses: int
    power_most_w: float
    energy_wmin: float
    tuning: tuple[float, float] | None
    comfort: tuple[int, int] | None
    hot_spots: int
    moves: int
    readings: tuple[said.SkinReading, ...]
    corrected: int
    doubtful_clocks: int
    end_s: float

    @property
    def lines(self) -> list[tuple[str, str]]:
        """The numbers in words."""
        found = [
            ("Length of the visit", f"{self.end_s / 60:.0f} min"),
            ("Field on", f"{self.heated_s / 60:.1f} min"),
            ("Pauses", f"{self.pauses}, {self.paused_s / 60:.1f} min in all" if self.pauses else "none"),
            ("Most set power", f"{self.power_most_w:g} W"),
            ("Set power times time, as shown by the device", f"{self.energy_wmin:.0f} W·min"),
        ]
        if self.tuning:
            found.append(("Tuning, lowest and highest", f"{self.tuning[0]:g} to {self.tuning[1]:g} %"))
        if self.comfort:
            found.append(("Comfort, lowest and highest", f"{self.comfort[0]} to {self.comfort[1]} of 10"))
        if self.readings:
            low, high = (f(one.celsius for one in self.readings) for f in (min, max))
            found.append(("Skin readings", f"{len(self.readings)}, {low:.1f} to {high:.1f} °C"))
        found += [
            ("Hot spots reported", f"{self.hot_spots}"),
            ("Panel moves", f"{self.moves}"),
            ("Entries corrected", f"{self.corrected}"),
        ]
        if self.doubtful_clocks:
            found.append(("Entries whose time is not certain", f"{self.doubtful_clocks}"))
        return found


def summary(run: Running) -> Summary:
    """The numbers of a visit up to now, or of the whole visit once it is over."""
    facts = tuple(standing(run.events, run.now_s))
    state = fold(facts, run.profile)
    power = tuple(_power(facts, run.now_s))
    on = _field(facts, run.now_s)
    ends = [*(step.at_s for step in power[1:]), run.now_s]
    tunings = [event.percent for event in facts if isinstance(event, said.TuningShown)]
    scores = [event.score for event in facts if isinstance(event, said.Comfort)]
    heated = state.heated_s + (run.now_s - state.on_since_s if state.on_since_s is not None else 0.0)
    return Summary(
        facts=facts,
        power=power,
        heated_s=max(heated, 0.0),
        paused_s=sum(end - begin for begin, end in on),
        pauses=len(on),
        power_most_w=max((step.watts for step in power), default=0.0),
        energy_wmin=sum(step.watts * (end - step.at_s) for step, end in zip(power, ends, strict=False))
        / 60.0,
        tuning=(min(tunings), max(tunings)) if tunings else None,
        comfort=(min(scores), max(scores)) if scores else None,
        hot_spots=_count(facts, said.HotSpot),
        moves=_count(facts, said.PanelMoved),
        readings=tuple(event for event in facts if isinstance(event, said.SkinReading)),
        corrected=sum(isinstance(event, said.Correction) for event in run.events),
        doubtful_clocks=sum(
            "not certain" in row.content.get("clock", {}).get("mark", "") for row in run.rows
        ),
        end_s=run.now_s,
    )


def _count(facts: Sequence[said.Fact], kind: type) -> int:
    return sum(isinstance(event, kind) for event in facts)


def _power(facts: Sequence[said.Fact], end_s: float) -> list[PowerStep]:
    """Steps of the power that heated."""
    steps: list[PowerStep] = []
    watts, on = 0.0, False
    for event in facts:
        if isinstance(event, said.PowerSet):
            watts = event.watts
        elif isinstance(event, said.Started | said.Resumed):
            on = True
        elif isinstance(event, said.Paused | said.Stopped):
            on = False
        else:
            continue
        step = PowerStep(min(max(event.when_s, 0.0), end_s), watts if on else 0.0)
        if not steps or steps[-1].watts != step.watts:
            steps.append(step)
    return steps


def _field(facts: Sequence[said.Fact], end_s: float) -> list[tuple[float, float]]:
    """Pauses between the first start and the stop, from and until."""
    pauses: list[tuple[float, float]] = []
    since: float | None = None
    for event in facts:
        if isinstance(event, said.Paused) and since is None:
            since = event.when_s
        elif isinstance(event, said.Resumed | said.Stopped) and since is not None:
            pauses.append((since, event.when_s))
            since = None
    return [*pauses, *([(since, end_s)] if since is not None else [])]


def unwanted(run: Running) -> list[Row]:
    """Unwanted events recorded with the visit."""
    return run.of_kind(Kind.ADVERSE)


def reported(run: Running, row: Row) -> str:
    """To whom an unwanted event was reported, as entered with it and later; "" if that is not entered."""
    later = [one.content["told"] for one in run.of_kind(Kind.REPORTED) if one.content["of"] == row.id]
    return "; ".join(words for words in [row.content.get("told", ""), *later] if words)


def closing(run: Running) -> Row | None:
    """How the visit was closed."""
    return next(iter(run.of_kind(Kind.CLOSING)), None)
