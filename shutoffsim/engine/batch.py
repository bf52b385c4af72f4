"""The batch engine: one compiled loop that rings the earliest clock, history by history."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from shutoffsim.engine.placement import Placement
from shutoffsim.model import layout as L
from shutoffsim.model import leak
from shutoffsim.model.compiled import entry, kernel, part
from shutoffsim.model.control import is_impaired
from shutoffsim.model.history import PROBE_KEYS, add_leak, close, react, start
from shutoffsim.model.occupancy import presence_at
from shutoffsim.model.streams import EXTRA_DRAWS, PROBE_DRAWS, uniform

#: One probe of a history: its number, source, time [s] and density [1/s].
PLACED = np.dtype(
    (np.record, [("number", np.int64), ("source", np.int64), ("time", "f8"), ("density", "f8")])
)

EXTRA = 4.0  # extra probes per e-fold of the time impaired
EXTRA_START = 3600.0  # s


@kernel
def next_ring(delay, times, now, limit):
    """Turn the delays set on the first ``limit`` clocks into times, clear them, find the earliest.

    Returns
    -------
    clock, time
        Of the next ring; ties go to the lowest number.
    """
    best = 0
    first = L.NEVER
    for c in range(limit):
        if delay[c] != L.KEEP:
            times[c] = now + delay[c]
            delay[c] = L.KEEP
        if times[c] < first:
            first = times[c]
            best = c
    return best, first


@kernel
def stretch_of(cum, at):
    """Return the stretch of (0, 1), cut at the rising ``cum``, in which ``at`` lies.

    Most cuts are nearly even, so a guess and a few steps find it without a search.
    """
    last = len(cum) - 2
    i = min(int(at * (last + 1)), last)
    while i < last and cum[i + 1] <= at:
        i += 1
    while cum[i] > at:
        i -= 1
    return i


@part
def place_probe(share_cum, cell_cum, cell, m, j, u):
    """Return source, time [s] and density [1/s] of probe ``j`` of ``m``, stratified.

    ``share_cum`` (n_sources + 1) cuts (0, 1) into one stretch per source; ``cell_cum``
    (n_sources, cells + 1) is each source's distribution over equal cells of ``cell`` seconds.
    """
    at = (j + u) / m
    i = stretch_of(share_cum, at)
    share = share_cum[i + 1] - share_cum[i]
    within = (at - share_cum[i]) / share
    g = stretch_of(cell_cum[i], within)
    mass = cell_cum[i, g + 1] - cell_cum[i, g]
    t = (g + (within - cell_cum[i, g]) / mass) * cell
    return i, t, share * mass / cell


@entry
def place_probes(share_cum, cell_cum, cell, seed, history, placed):
    """Fill ``placed`` (:data:`PLACED` (m,)) with the probes of a history, in the order of time."""
    m = len(placed)
    for j in range(m):
        u = uniform(seed, history, PROBE_DRAWS, j)
        source, time, density = place_probe(share_cum, cell_cum, cell, m, j, u)
        k = j
        while k > 0 and placed[k - 1].time > time:
            placed[k] = placed[k - 1]
            k -= 1
        placed[k].number = j
        placed[k].source = source
        placed[k].time = time
        placed[k].density = density


def placed_probes(placement: Placement, seed: int, history: int, m: int) -> Any:
    """Return the ``m`` probes of a history (:data:`PLACED` (m,)), in the order of time."""
    placed = np.zeros(m, PLACED)
    place_probes(
        placement.share_cum,
        placement.cell_cum,
        placement.cell,
        np.uint64(seed),
        np.uint64(history),
        placed,
    )
    return placed


@entry
def probe_weight(p, s, i, t, density, m):
    """Return how many leaks per history a probe of source ``i`` at ``t`` stands for."""
    return leak.leak_rate(p, s, i, t, presence_at(p, s, t)) / (density * m)


@part
def run_probe(p, s, times, delay, source, key, t, rows):
    """Resolve a probe in ``s``, a fork of the state: run on until its incident is written."""
    s.focus = key
    s.n_rows = 0
    add_leak(p, s, t, source, key, delay)
    c, now = next_ring(delay, times, t, s.limit)
    while s.n_rows == 0:
        if now >= p.horizon:
            close(p, s, p.horizon, rows)
            break
        before = s.limit
        react(c, now, p, s, delay, rows)
        c, now = next_ring(delay, times, now, max(before, s.limit))


@kernel
def probe_at(p, states, times, fork_times, delay, source, t, density, number, row):
    """Resolve probe ``number`` at ``t`` and fill its row (array of one).

    The first of ``states`` is that of the history; the second is overwritten by its fork.
    """
    s = states[0]
    rate = leak.leak_rate(p, s, source, t, presence_at(p, s, t))
    weight = s.weight * rate / density
    if weight > 0.0:
        states[1] = states[0]
        for c in range(s.limit):
            fork_times[c] = times[c]
        run_probe(p, states[1], fork_times, delay, source, PROBE_KEYS + number, t, row)
    row[0].history = s.history
    row[0].probe = number
    row[0].source = source
    row[0].onset = t
    row[0].weight = weight


@part
def cell_density(cell_cum, cell, i, t):
    """Return the density [1/s] of source ``i``'s base probes at ``t``."""
    g = min(int(t / cell), cell_cum.shape[1] - 2)
    return (cell_cum[i, g + 1] - cell_cum[i, g]) / cell


def run_histories(
    params: Any,
    placement: Placement,
    seed: int,
    first: int,
    tilt: bool,
    m: int,
    rows: Any,
    natural: Any,
    summary: Any,
) -> int:
    """Run histories ``first`` to ``first + n - 1`` of every design.

    Each history carries ``m`` probes at stratified times. Where ``rows`` has room for more, the
    rest are extra probes in the stretches in which automation is impaired: there they come as a
    Poisson process with rate EXTRA / (time impaired so far + EXTRA_START), so that short and long
    stretches both get some, times the share of the room that is left, so that it never stops
    short. A probe's weight is the leak rate over the *sum* of both densities at its place, which
    keeps sums over all probes unbiased.

    Parameters
    ----------
    params : record array (k,)
        Designs.
    placement : Placement
        Where probes are placed.
    seed, first : int
    tilt : bool
        As in :class:`shutoffsim.engine.run.Setup`.
    m : int
        Stratified probes a history.
    rows : record array (k, n, m + extra)
        Incidents of the probes, filled; what is not used keeps weight 0.
    natural : record array (capacity,)
        Incidents of natural leaks, filled from the start.
    summary : record array (k, n)
        Counts per history, filled.

    Returns
    -------
    int
        Number of natural incidents; larger than capacity when rows did not fit.
    """
    states = np.zeros(3, L.STATE)
    states["tilt"] = tilt
    count = _ring_all(
        params,
        placement.share_cum,
        placement.cell_cum,
        placement.cell,
        np.uint64(seed),
        np.uint64(first),
        states,
        np.full((3, L.CLOCKS), L.KEEP),
        np.zeros(m, PLACED),
        rows,
        natural,
        summary,
    )
    return int(count)


@entry
def _ring_all(
    params, share_cum, cell_cum, cell, seed, first, states, clocks, placed, rows, natural, summary
):
    """Do what :func:`run_histories` says, in arrays that it has made.

    ``states`` (3,) are for a history, its forks, and blank; ``clocks`` (3, number of clocks) for
    their times and for delays.
    """
    k, n, room = rows.shape
    m = len(placed)
    total = clocks.shape[1]
    times, fork_times, delay = clocks[0], clocks[1], clocks[2]
    count = 0
    for h in range(n):
        history = first + np.uint64(h)
        place_probes(share_cum, cell_cum, cell, seed, history, placed)
        for d in range(k):
            p = params[d]
            states[0] = states[2]
            s = states[0]
            s.seed = seed
            s.history = history
            s.focus = L.EVERY_LEAK
            s.n_rows = count
            times.fill(L.NEVER)
            start(p, s, delay)
            c, now = next_ring(delay, times, 0.0, total)
            base = 0
            extra = 0
            draws = 0
            since = L.NEVER  # start of the present impaired stretch
            reach = 0.0  # time impaired at its last extra probe, plus EXTRA_START
            wait = 0.0  # unit exponential to the next one
            while True:
                while True:
                    t = placed[base].time if base < m else L.NEVER
                    more = L.NEVER
                    rate = 0.0
                    if since < L.NEVER and m + extra < room:
                        rate = EXTRA * (room - m - extra) / (room - m)
                        more = since - EXTRA_START + reach * math.exp(wait / rate)
                    if min(t, more) > now or min(t, more) >= p.horizon:
                        break
                    spread = 0.0
                    if rate > 0.0:
                        spread = rate / (min(t, more) - since + EXTRA_START)
                    if t <= more:
                        j = placed[base].number
                        i = placed[base].source
                        share = share_cum[i + 1] - share_cum[i]
                        density = placed[base].density * m + share * spread
                        base += 1
                    else:
                        t = more
                        j = m + extra
                        extra += 1
                        i = stretch_of(share_cum, uniform(seed, history, EXTRA_DRAWS, draws))
                        wait = -math.log1p(-uniform(seed, history, EXTRA_DRAWS, draws + 1))
                        reach = t - since + EXTRA_START
                        draws += 2
                        share = share_cum[i + 1] - share_cum[i]
                        density = share * (m * cell_density(cell_cum, cell, i, t) + spread)
                    row = rows[d, h, j : j + 1]
                    probe_at(p, states, times, fork_times, delay, i, t, density, j, row)
                    row[0].design = d
                if now >= p.horizon:
                    break
                before = s.limit
                react(c, now, p, s, delay, natural)
                if room > m:
                    if not is_impaired(p, s, now):
                        since = L.NEVER
                    elif since == L.NEVER:
                        since = now
                        reach = EXTRA_START
                        wait = -math.log1p(-uniform(seed, history, EXTRA_DRAWS, draws))
                        draws += 1
                c, now = next_ring(delay, times, now, max(before, s.limit))
            close(p, s, p.horizon, natural)
            for r in range(count, min(s.n_rows, len(natural))):
                natural[r].design = d
                natural[r].weight = s.weight
            count = s.n_rows + s.lost_rows
            out = summary[d, h]
            out.nuisance_closings = s.nuisance_closings
            out.strokes = s.demands
            out.stalls = s.stalls
            out.leaks = s.leaks
            out.dropped = s.dropped
            out.events = s.events
    return count
