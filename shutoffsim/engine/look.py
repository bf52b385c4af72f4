"""Looks into histories: their states at some times, without leaks placed in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from shutoffsim.engine import batch
from shutoffsim.engine.guard import new_guard, too_many_events
from shutoffsim.engine.placement import place
from shutoffsim.model import layout as L


@dataclass(frozen=True)
class Looks:
    """What is seen of ``n`` histories of ``k`` designs at ``t`` times.

    Attributes
    ----------
    at : float array (n, t)
        When each was looked at, s.
    states : record array (k, n, t)
        Of dtype ``layout.STATE``.
    """

    at: Any
    states: Any


def look(params: Any, seed: int, times: Any, spans: Any, n: int) -> Looks:
    """Return the states of the first ``n`` histories, each seen once before each of ``times``.

    Parameters
    ----------
    params : record array (k,) or record
        Designs of one service life.
    seed : int
    times, spans : sequences of float
        As in :func:`shutoffsim.engine.batch.look_into`, s; at most the service life.
    n : int
        How many histories.

    Raises
    ------
    TooManyEventsError
        A history would hardly come to an end.
    """
    params = np.array(params, ndmin=1).view(np.recarray)
    ends, lengths = np.asarray(times, float), np.asarray(spans, float)
    seen = np.zeros((len(params), n, len(ends)), L.STATE)
    guard = new_guard()
    if batch.look_into(params, place(params), seed, 0, guard, ends, lengths, seen) == batch.OVER:
        raise too_many_events(guard[0], params[int(guard[0].design)], "")
    at = np.empty((n, len(ends)))
    batch.fill_look_times(ends, lengths, np.uint64(seed), at)
    return Looks(at, seen.view(np.recarray))
