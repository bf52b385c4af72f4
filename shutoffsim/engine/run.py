"""Runs: histories in chunks, on one or more workers, with the same bits however they are split."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from shutoffsim.engine import batch, trace
from shutoffsim.engine.placement import Placement, place
from shutoffsim.model import layout as L
from shutoffsim.model.compiled import NOT_STORED, is_warm, mark_warm
from shutoffsim.model.streams import BLOCK

Engine = Literal["batch", "trace"]

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
        Further probes a history at most, where automation is impaired (batch engine only).
    tilt : bool
        Draw stiff valves and random failures of the closing element more often, with weights that
        put it right (batch engine only).
    """

    params: Any
    seed: int
    engine: Engine
    probes: int
    placement: Placement
    extra: int = 0
    tilt: bool = False

    @classmethod
    def of(cls, params: Any, seed: int, engine: Engine = "batch", probes: int = PROBES) -> Setup:
        """Return a setup with the placement that suits ``params``."""
        return cls(params, seed, engine, probes, place(params))


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


def run_chunk(setup: Setup, first: int, n: int) -> Chunk:
    """Run ``n`` histories from number ``first`` on."""
    k = len(setup.params)
    capacity = 64 + 4 * k * n
    while True:
        rows = np.zeros((k, n, setup.probes + setup.extra), L.INCIDENT)
        natural = np.zeros(capacity, L.INCIDENT)
        summary = np.zeros((k, n), L.SUMMARY)
        if setup.engine == "trace":
            count = trace.run_histories(
                setup.params, setup.placement, setup.seed, first, rows, natural, summary
            )
        else:
            count = batch.run_histories(
                setup.params,
                setup.placement,
                setup.seed,
                first,
                setup.tilt,
                setup.probes,
                rows,
                natural,
                summary,
            )
            if not is_warm():
                mark_warm()
        if count <= capacity:
            return Chunk(first, rows, natural[:count], summary)
        capacity = 2 * count


def run_chunks(setup: Setup, first: int, end: int, workers: int = 1) -> Iterator[Chunk]:
    """Yield the chunks of histories ``first`` to ``end - 1`` in order.

    The kernel releases the interpreter lock, so the workers are threads; no more than two chunks
    a worker are held at a time.
    """
    pieces = [(at, min(CHUNK, end - at)) for at in range(first, end, CHUNK)]
    if workers <= 1 or len(pieces) == 1:
        for at, n in pieces:
            yield run_chunk(setup, at, n)
        return
    with ThreadPoolExecutor(workers) as pool:
        waiting: deque[Future[Chunk]] = deque()
        try:
            for at, n in pieces:
                waiting.append(pool.submit(run_chunk, setup, at, n))
                if len(waiting) >= 2 * workers:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def needs_compiling() -> bool:
    """Return whether the first run here has to compile the kernels, which takes a while."""
    return not is_warm()


def why_not_stored() -> str:
    """Return why compiled code is not kept for the next run; empty when it is."""
    return NOT_STORED
