"""Progress of long steps on stderr, where a person is looking; silence where nobody is."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager

STEPS = {
    "field": "field in the body",
    "heat": "heat in time",
    "dose": "dose and hot spots",
    "assumed range": "assumed range of absorbed power",
    "placements": "placements",
    "figures": "figures",
    "report": "report",
}


@contextmanager
def shown_progress(steps: Mapping[str, str] = STEPS) -> Iterator[Callable[[str, float], None]]:
    """A callback for a step's name and its share done (0 to 1; 0 while it is not known).

    `steps`: words of the steps to show, by name.

    Ctrl-C while kernels are compiled for the first time can be swallowed by the compiler, so it is noted and
    raised again at the next step.
    """
    import signal
    import threading
    from types import FrameType

    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    columns = TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn()
    tasks: dict[str, TaskID] = {}
    interrupted = False

    def note(number: int, frame: FrameType | None) -> None:
        nonlocal interrupted
        interrupted = True
        if console.is_terminal:
            console.print("Stopping …")
        raise KeyboardInterrupt

    # where whoever started us has Ctrl-C ignored (nohup, a job in the background), it stays ignored
    heard = threading.current_thread() is threading.main_thread()
    heard = heard and signal.getsignal(signal.SIGINT) is not signal.SIG_IGN
    before = signal.signal(signal.SIGINT, note) if heard else None
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:

        def tell(step: str, share: float) -> None:
            if interrupted:
                raise KeyboardInterrupt
            if step in steps and step not in tasks:
                for earlier in tasks.values():
                    progress.update(earlier, total=1.0, completed=1.0)
                tasks[step] = progress.add_task(steps[step], total=None)
            if step in tasks and share > 0.0:
                progress.update(tasks[step], total=1.0, completed=share)

        try:
            yield tell
        finally:
            if heard:
                signal.signal(signal.SIGINT, before)
