"""Runs: histories in chunks, on one or more workers, with the same bits however they are split."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

import numpy as np

from shutoffsim.engine import batch, trace
from shutoffsim.engine.guard import MOST_EVENTS, StoppedError, new_guard, too_many_events
from shutoffsim.engine.placement import Placement, place
from shutoffsim.model import layout as L
from shutoffsim.model.compiled import NOT_STORED, is_warm, mark_warm
from shutoffsim.model.streams import BLOCK

Engine = Literal["batch", "trace"]
Piece = TypeVar("Piece")
Found = TypeVar("Found")

CHUNK = 4 * BLOCK  # histories per piece of work
PROBES = 64  # per history


@dataclass(frozen=True)
class Setup:
    """What is run: parameters of ``k`` designs, seed, engine, probes per history.

    Attributes
    ----------
    params : record array (k,)
        Designs, see :data:`shutoffsim.model.layout.PARAMETERS`.
    seed : int
        0 to 2**64 - 1.
    engine : str
        ``"batch"`` or ``"trace"``.
    probes : int
        Probes per history.
    placement : Placement
        Where they are placed.
    extra : int
        Further probes a history at most, where automation is impaired.
    tilt : bool
        Aim half of the histories at rare failures, with weights that put it right: see
        :mod:`shutoffsim.model.aim`.
    most_events : int
        Events of one history at which the run ends with an error.
    names : tuple of str
        Of the designs, for that error; empty where they have none.
    """

    params: Any
    seed: int
    engine: Engine
    probes: int
    placement: Placement
    extra: int = 0
    tilt: bool = False
    most_events: int = MOST_EVENTS
    names: tuple[str, ...] = ()

    @classmethod
    def of(
        cls,
        params: Any,
        seed: int,
        engine: Engine = "batch",
        probes: int = PROBES,
        names: Sequence[str] = (),
    ) -> Setup:
        """Return a setup with the placement that suits ``params``."""
        return cls(params, seed, engine, probes, place(params), names=tuple(names))


@dataclass(frozen=True)
class Chunk:
    """The incidents of ``n`` consecutive histories of ``k`` designs.

    Attributes
    ----------
    first : int
        Number of the first history.
    rows : record array (k, n, m)
        Incidents of the probes, with weights.
    natural : record array (i,)
        Incidents of natural leaks, weight 1.
    summary : record array (k, n)
        Counts per history.
    """

    first: int
    rows: Any
    natural: Any
    summary: Any


def run_chunk(setup: Setup, first: int, n: int, guard: Any = None) -> Chunk:
    """Run ``n`` histories from number ``first`` on.

    Parameters
    ----------
    setup : Setup
    first, n : int
    guard : record array (1,), optional
        From :func:`shutoffsim.engine.guard.new_guard`: setting its ``stop`` in another thread ends
        the work.

    Raises
    ------
    TooManyEventsError
        A history would hardly come to an end.
    StoppedError
        The guard was told to stop.
    """
    k = len(setup.params)
    capacity = 64 + 4 * k * n
    run = trace.run_histories if setup.engine == "trace" else batch.run_histories
    if guard is None:
        guard = new_guard()
    guard["most"] = setup.most_events
    while True:
        rows = np.zeros((k, n, setup.probes + setup.extra), L.INCIDENT)
        natural = np.zeros(capacity, L.INCIDENT)
        summary = np.zeros((k, n), L.SUMMARY)
        count = run(
            setup.params,
            setup.placement,
            setup.seed,
            first,
            setup.tilt,
            setup.probes,
            rows,
            natural,
            summary,
            guard,
        )
        if count == batch.OVER:
            if guard[0].stop:
                raise StoppedError
            d = int(guard[0].design)
            raise too_many_events(guard[0], setup.params[d], setup.names[d] if setup.names else "")
        if not is_warm():
            mark_warm()
        if count <= capacity:
            return Chunk(first, rows, natural[:count], summary)
        capacity = 2 * count


def run_chunks(setup: Setup, first: int, end: int, workers: int = 1) -> Iterator[Chunk]:
    """Yield the chunks of histories ``first`` to ``end - 1`` in order."""
    pieces = [(at, min(CHUNK, end - at)) for at in range(first, end, CHUNK)]
    found = in_order(lambda piece, guard: run_chunk(setup, *piece, guard), pieces, workers)
    return (chunk for _piece, chunk in found)


def in_order(
    work: Callable[[Piece, Any], Found], pieces: Iterable[Piece], workers: int
) -> Iterator[tuple[Piece, Found]]:
    """Yield pieces of work with what each gave, in order.

    The kernel releases the interpreter lock, so the workers are threads; no more than two pieces a
    worker are held at a time. One worker is a thread as well: the main thread stays free to hear
    an interrupt, and what is at work then ends within moments.

    Parameters
    ----------
    work : callable
        Called as ``work(piece, guard)``, see :func:`run_chunk` for the guard.
    pieces : iterable
    workers : int
    """
    guards: list[Any] = []
    own = threading.local()

    def begin() -> None:
        own.guard = new_guard()
        guards.append(own.guard)

    pool = ThreadPoolExecutor(workers, initializer=begin)
    waiting: deque[tuple[Piece, Future[Found]]] = deque()

    def finish() -> tuple[Piece, Found]:
        piece, future = waiting.popleft()
        return piece, future.result()

    try:
        for piece in pieces:
            waiting.append((piece, pool.submit(lambda piece: work(piece, own.guard), piece)))
            if len(waiting) >= 2 * workers:
                yield finish()
        while waiting:
            yield finish()
    finally:
        for guard in guards:
            guard["stop"] = 1
        pool.shutdown(wait=False, cancel_futures=True)


def needs_compiling() -> bool:
    """Return whether the first run here has to compile the kernels, which takes a while."""
    return not is_warm()


def why_not_stored() -> str:
    """Return why compiled code is not kept for the next run; empty when it is."""
    return NOT_STORED
