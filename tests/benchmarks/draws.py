"""Which variates a run draws: ``python draws.py SCENARIO DESIGN PROBES HISTORIES FILE.npy``.

Runs the batch engine uncompiled, with the functions that draw replaced by ones that also take
notes, and writes one row (kind, a, b, c) for each variate: its distribution, or kind ``RAW`` where
the uniform number itself is used. A number that is drawn again by the same key is one variate, so
that repeating oneself does not count as work that had to be done.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

RAW = -1.0


class Notes:
    """The keys drawn so far, and what became of each number."""

    def __init__(self) -> None:
        self.keys: dict[tuple[int, int, int], float] = {}
        self.uses: dict[float, tuple[float, ...]] = {}
        self.depth = 0

    def variates(self) -> np.ndarray[Any, np.dtype[np.float64]]:
        """Return one row per variate, in the order of the first draws; then what else was drawn."""
        numbers = list(self.keys.values())
        plain = (RAW, 0.0, 0.0, 0.0)
        rows = [self.uses.get(u, plain) for u in numbers]
        known = set(numbers)
        rows += [use for u, use in self.uses.items() if u not in known]
        return np.array(rows, float).reshape(-1, 4)

    def note(self, u: Any, dist: Any) -> None:
        if self.depth == 0:
            self.uses[float(u)] = tuple(float(x) for x in dist)


def take_notes(notes: Notes) -> None:
    """Replace the functions that draw; to be called before the model is imported."""
    from shutoffsim.model import quantiles, streams

    def inner(function: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any) -> Any:
            notes.depth += 1
            try:
                return function(*args)
            finally:
                notes.depth -= 1

        return call

    quantile, waiting = inner(quantiles.quantile), inner(quantiles.waiting)
    normal_quantile = inner(quantiles.normal_quantile)

    def noting_draw(draw: Callable[..., Any]) -> Callable[..., Any]:
        def noting(seed: Any, history: Any, stream: Any, count: Any) -> Any:
            u = draw(seed, history, stream, count)
            notes.keys[int(history), int(stream), int(count)] = float(u)
            return u

        return noting

    def noting_quantile(dist: Any, u: Any) -> Any:
        if dist[0] != quantiles.FIXED:
            notes.note(u, dist)
        return quantile(dist, u)

    def noting_waiting(rate: Any, u: Any) -> Any:
        if rate > 0.0:
            notes.note(u, (quantiles.EXPONENTIAL, 1.0 / rate, 0.0, 0.0))
        return waiting(rate, u)

    def noting_normal_quantile(u: Any) -> Any:
        notes.note(u, (quantiles.LOGNORMAL, 0.0, 1.0, 0.0))
        return normal_quantile(u)

    streams.uniform = noting_draw(streams.uniform)
    streams.even_uniform = noting_draw(streams.even_uniform)
    quantiles.quantile = noting_quantile
    quantiles.waiting = noting_waiting
    quantiles.normal_quantile = noting_normal_quantile


def record(path: str, design: str, probes: int, histories: int) -> Any:
    """Return the variates (n, 4) of so many histories of one design."""
    notes = Notes()
    take_notes(notes)
    import shutoffsim
    from shutoffsim.engine.run import Setup, run_chunk

    params = shutoffsim.load(path).parameters([design])
    setup = Setup.of(params, 1, probes=probes)
    notes.keys.clear()
    notes.uses.clear()
    with np.errstate(over="ignore"):  # counters wrap
        run_chunk(setup, 0, histories)
    return notes.variates()


if __name__ == "__main__":
    if os.environ.get("NUMBA_DISABLE_JIT") != "1":
        raise SystemExit("set NUMBA_DISABLE_JIT=1: compiled functions cannot take notes")
    rows = record(sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
    np.save(Path(sys.argv[5]), rows)
    print(len(rows))
