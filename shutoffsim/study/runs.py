"""The loop that every study runs its histories in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from shutoffsim.engine.run import Chunk, Setup, run_chunks
from shutoffsim.study.options import Progress


def run_histories(
    setup: Setup,
    target: int | Callable[[int], int],
    take: Callable[[Chunk], None],
    *,
    workers: int = 1,
    progress: Progress | None = None,
    cluster: Any = None,
    store: Path | None = None,
) -> None:
    """Run histories from number 0 on and hand them on, chunk by chunk, in order.

    Parameters
    ----------
    setup : Setup
    target : int or callable
        How many to run; or what decides, called with the number done, up to how many to run, and no
        more than are done when that is enough.
    take : callable
        Takes each chunk.
    workers : int
        Threads.
    progress : callable, optional
        Called as ``progress(histories done, histories planned)``.
    cluster : distributed.Client or str, optional
        Compute there instead, see docs/cluster.md.
    store : pathlib.Path, optional
        With a cluster: folder where finished pieces are kept.
    """
    done = 0
    while (end := target(done) if callable(target) else target) > done:
        for chunk in _chunks(setup, done, end, workers, cluster, store):
            take(chunk)
            done += chunk.summary.shape[1]
            if progress is not None:
                progress(done, end)


def _chunks(
    setup: Setup, first: int, end: int, workers: int, cluster: Any, store: Path | None
) -> Iterator[Chunk]:
    if cluster is None:
        return run_chunks(setup, first, end, workers)
    from shutoffsim.engine.cluster import run_chunks_on

    return run_chunks_on(cluster, setup, first, end, store)
