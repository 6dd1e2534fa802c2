"""Many independent computations: on local processes or a Dask cluster, the same to the last digit.

Whoever computes, a task is the same: it depends on its arguments only (its rows of the design, never on the
number of workers), runs with one thread of the numerical libraries, so that sums are taken in one order, and
results come back in the order of the tasks. Across machines this holds for one kind of processor and the same
versions of the libraries.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from importlib.util import find_spec
from multiprocessing import get_context, resource_tracker
from typing import Any, Protocol, TypeVar

import numba
from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

Item = TypeVar("Item")
Result = TypeVar("Result")
_one_at_a_time = threading.RLock()


class ClusterError(RuntimeError):
    """The Dask cluster cannot be used; the message is one clear sentence."""


class Runner(Protocol):
    """Does tasks; used within `runner`."""

    workers: int

    def map(self, function: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        """Results in the order of the items, each as soon as it and all before it are there."""


@contextmanager
def one_thread() -> Iterator[None]:
    """One thread of the numerical libraries within the block. Blocks of several threads wait for each
    other."""
    with _one_at_a_time:
        before = numba.get_num_threads()
        with threadpool_limits(1):
            numba.set_num_threads(1)
            try:
                yield
            finally:
                numba.set_num_threads(before)


def _task(function: Callable[[Any], Any], item: Any) -> Any:
    with one_thread():
        return function(item)


def _shared_task(item: Any, *, function: Callable[[Any], Any]) -> Any:
    return _task(function, item)


class _Here:
    workers = 1

    def map(self, function: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        for item in items:
            yield _task(function, item)


class _Processes:
    def __init__(self, pool: ProcessPoolExecutor, workers: int) -> None:
        self._pool = pool
        self.workers = workers

    def map(self, function: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        with _ctrl_c_held_back():
            results = self._pool.map(partial(_task, function), items)
        yield from results


class _Cluster:
    def __init__(self, client: Any) -> None:
        self._client = client
        self.workers = max(1, len(client.scheduler_info()["workers"]))

    def map(self, function: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        # sent once to every worker: it may hold arrays
        shared = self._client.scatter([function], broadcast=True, hash=False)[0]
        futures = self._client.map(_shared_task, items, function=shared, pure=False)
        try:
            for future in futures:
                yield future.result()
        finally:
            self._client.cancel(futures)


@contextmanager
def _ctrl_c_held_back() -> Iterator[None]:
    """A process begun meanwhile never hears Ctrl-C, not even while it is still importing; this one hears it
    at the end."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # its start would let Ctrl-C through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _start_worker() -> None:
    """Ctrl-C is for the process that leads; numerical libraries get one thread from the start."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    numba.set_num_threads(1)


@contextmanager
def runner(workers: int | None = None, dask: str | None = None) -> Iterator[Runner]:
    """What does the tasks: `workers` local processes (as many as there are processors if None; with 1, this
    process), or the Dask cluster whose scheduler is at the address `dask`.

    On leaving, tasks not begun are dropped; where the block ends by an exception (Ctrl-C too), local
    processes are ended in the middle of theirs. Raises ValueError for fewer than one worker, ClusterError if
    the cluster cannot be used.
    """
    if workers is not None and workers < 1:
        raise ValueError(f"workers is {workers}: at least 1 is needed")
    if dask is not None:
        with _client(dask) as client:
            yield _Cluster(client)
        return
    count = workers or os.cpu_count() or 1
    if count == 1:
        yield _Here()
        return
    pool = ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=_start_worker)
    try:
        yield _Processes(pool, count)
    except BaseException:
        # nobody waits for what they still compute, and a task takes seconds
        for process in list((pool._processes or {}).values()):
            process.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _client(address: str) -> Iterator[Any]:
    if find_spec("distributed") is None:
        raise ClusterError(
            "a Dask cluster was named but the package distributed is not installed: "
            "install evenfield[cluster]"
        )
    from distributed import Client
    from distributed.comm.addressing import parse_address, parse_host_port

    try:
        scheme, place = parse_address(address)
        if scheme in ("tcp", "tls"):  # a client refused only when made is in the way until the end
            parse_host_port(place)
        client = Client(  # type: ignore[no-untyped-call]
            address, timeout=5, set_as_default=False
        )
    except (OSError, ValueError) as error:
        raise ClusterError(f'no Dask scheduler answers at "{address}": {error}') from error
    with client:
        yield client
