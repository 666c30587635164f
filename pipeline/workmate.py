"""A second process for what needs no database: files read, seasons looked back on, pages rendered.

It is started where a run is long enough to pay for its start, before the first process has loaded its own modules. A
start or a task that fails for a reason of the machine costs time and nothing else: the first process does the rest.
"""

from __future__ import annotations

import gc
import importlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

LONG_BYTES = 200_000
"""Files of this size together take longer to work through than a second process takes to start (measured)."""

MOST_LENT = 2
"""One in work and one waiting, so that the other process is never idle while this one is busy."""


class Each(Protocol):
    """Applies a function of one argument to every item and returns the results in the order of the items."""

    def __call__(self, function: Callable[[Item], Result], items: Iterable[Item]) -> list[Result]: ...


def alone(function: Callable[[Item], Result], items: Iterable[Item]) -> list[Result]:
    """Do every item here, one after the other."""
    return [function(item) for item in items]


def is_long(inputs: Iterable[Path]) -> bool:
    """Return whether the files, and those directly in the folders, are enough work for two."""
    inside = [file for path in inputs for file in (path.glob("*") if path.is_dir() else [path])]
    return sum(file.stat().st_size for file in inside if file.is_file()) > LONG_BYTES


class Workmate:
    """Use as a context; ``each`` and ``lend`` share work with the second process where there is one.

    Parameters
    ----------
    module
        Loaded there at once, so that it is there when the first task comes.
    wanted
        Whether the run is long enough; a single processor never gets a second process.
    """

    def __init__(self, module: str = "", *, wanted: bool = False) -> None:
        self._pool: ProcessPoolExecutor | None = None
        if wanted and _processors() > 1:
            # spawn: a copy of this process would have copies of locks that threads of polars and DuckDB hold
            context = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(1, context, initializer=_begin, initargs=(module,))
            self._submit(_nothing)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)

    def lend(self, function: Callable[..., Result], *given: object) -> Callable[[], Result]:
        """Have ``function`` called there; the returned function waits for the result, or finds it itself."""
        lent = self._submit(function, *given)

        def result() -> Result:
            return function(*given) if lent is None else self._returned(lambda _: function(*given), None, lent)

        return result

    def each(self, function: Callable[[Item], Result], items: Iterable[Item]) -> list[Result]:
        """Apply ``function``, which both processes can import, to picklable ``items``; results in their order.

        An item is lent while the other process has less than ``MOST_LENT`` to do and this one has a further item;
        drawing the items from an iterator is this one's work too.

        Raises
        ------
        Exception
            What ``function`` raises, in either process.
        """
        results: dict[int, Result] = {}
        lent: dict[int, tuple[Item, Future[Result]]] = {}
        for place, item, more in _with_more(items):
            for ready in [there for there, (_, future) in lent.items() if future.done()]:
                results[ready] = self._returned(function, *lent.pop(ready))
            future = self._submit(function, item) if more and len(lent) < MOST_LENT else None
            if future is None:
                results[place] = function(item)
            else:
                lent[place] = (item, future)
        results |= {place: self._returned(function, *one) for place, one in lent.items()}
        return [results[place] for place in range(len(results))]

    def _submit(self, function: Callable[..., Result], *given: object) -> Future[Result] | None:
        try:
            return self._pool.submit(function, *given) if self._pool is not None else None
        except (BrokenProcessPool, OSError, RuntimeError):
            self._pool = None
            return None

    def _returned(self, function: Callable[[Item], Result], item: Item, lent: Future[Result]) -> Result:
        """Wait for what was lent; what does not come back is done here."""
        try:
            return lent.result()
        except BrokenProcessPool:
            self._pool = None
            return function(item)


def _with_more(items: Iterable[Item]) -> Iterator[tuple[int, Item, bool]]:
    """Yield place, item, and whether one follows."""
    held: list[Item] = []
    place = 0
    for place, item in enumerate(items):
        if held:
            yield place - 1, held.pop(), True
        held.append(item)
    if held:
        yield place, held.pop(), False


def collect_rarely() -> None:
    """Have the garbage collector look less often: a run makes few cycles, and looking took a tenth of its time."""
    gc.freeze()
    gc.set_threshold(100_000, 50, 100)


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _nothing() -> None:
    """Make the process start now."""


def _begin(module: str) -> None:
    """Load the module; leave an interruption from the keyboard to the first process, and end when that ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    collect_rarely()
    importlib.import_module(module)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
