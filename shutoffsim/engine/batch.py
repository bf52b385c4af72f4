"""The batch engine: one compiled loop that rings the earliest clock, history by history."""

from __future__ import annotations

from typing import Any

import numpy as np

from shutoffsim.engine.guard import is_over
from shutoffsim.engine.placement import Placement
from shutoffsim.engine.schedule import (
    COURSE,
    PLACED,
    begin_course,
    next_probe,
    note_impairment,
    place_probes,
)
from shutoffsim.model import layout as L
from shutoffsim.model import leak
from shutoffsim.model.compiled import entry, kernel, part
from shutoffsim.model.history import add_leak, close, react, start
from shutoffsim.model.impairments import impairments
from shutoffsim.model.occupancy import presence_at
from shutoffsim.model.streams import LOOK_DRAWS, PROBE_KEYS, uniform

OVER = -1  # what is returned when the guard has ended a history


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


@entry
def probe_weight(p, s, i, t, density):
    """Return how many leaks per history a probe of source ``i`` at ``t`` stands for.

    ``density`` [1/s] is that of all probes of this source there.
    """
    return s.weight * leak.leak_rate(p, s, i, t, presence_at(p, s, t)) / density


@part
def run_probe(p, s, times, delay, source, key, t, rows, guard):
    """Resolve a probe in ``s``, a fork of the state: run on until its incident is written."""
    s.focus = key
    s.n_rows = 0
    add_leak(p, s, t, source, key, delay)
    c, now = next_ring(delay, times, t, s.limit)
    while s.n_rows == 0:
        if now >= p.service_life:
            close(p, s, p.service_life, rows)
            break
        before = s.limit
        react(c, now, p, s, delay, rows)
        if is_over(guard, s.events, c):
            return False
        c, now = next_ring(delay, times, now, max(before, s.limit))
    return True


@kernel
def resolve(p, states, times, fork_times, delay, probe, row, guard):
    """Resolve a probe and fill its row (array of one); False when the guard has ended it.

    The first of ``states`` is that of the history; the second is overwritten by its fork.
    """
    s = states[0]
    t = probe.time
    weight = probe_weight(p, s, probe.source, t, probe.density)
    if weight > 0.0:
        states[1] = states[0]
        for c in range(s.limit):
            fork_times[c] = times[c]
        key = PROBE_KEYS + probe.number
        if not run_probe(p, states[1], fork_times, delay, probe.source, key, t, row, guard):
            return False
    row[0].history = s.history
    row[0].probe = probe.number
    row[0].source = probe.source
    row[0].onset = t
    row[0].weight = weight
    return True


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
    guard: Any,
    looks: tuple[Any, Any, Any] | None = None,
) -> int:
    """Run histories ``first`` to ``first + n - 1`` of every design.

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
        Stratified probes a history; where ``rows`` has room for more, extra ones follow, see
        :mod:`shutoffsim.engine.schedule`.
    rows : record array (k, n, m + extra)
        Incidents of the probes, filled; what is not used keeps weight 0.
    natural : record array (capacity,)
        Incidents of natural leaks, filled from the start.
    summary : record array (k, n)
        Counts per history, filled.
    guard : record array (1,)
        What ends a history early, :data:`shutoffsim.engine.guard.GUARD`.
    looks : tuple, optional
        Times, spans and states of :func:`look_into`.

    Returns
    -------
    int
        Number of natural incidents, larger than capacity when rows did not fit; OVER when the
        guard has ended a history.
    """
    if looks is None:
        looks = (np.zeros(0), np.zeros(0), np.zeros((*rows.shape[:2], 0), L.STATE))
    states = np.zeros(3, L.STATE)
    states["tilt"] = tilt
    count = _run_all(
        params,
        placement.share_cum,
        placement.cell_cum,
        placement.cell,
        np.uint64(seed),
        np.uint64(first),
        states,
        np.full((3, L.CLOCKS), L.KEEP),
        np.zeros(1, COURSE),
        np.zeros(m, PLACED),
        np.zeros(1, PLACED),
        rows,
        natural,
        summary,
        guard,
        *looks,
    )
    return int(count)


def look_into(
    params: Any,
    placement: Placement,
    seed: int,
    first: int,
    guard: Any,
    times: Any,
    spans: Any,
    seen: Any,
) -> int:
    """Run histories without probes, and copy their states at some times.

    Parameters
    ----------
    params, placement, seed, first, guard
        As in :func:`run_histories`.
    times, spans : float arrays (t,)
        Each history is looked at once within ``spans`` [s] before each of ``times`` [s], evenly
        and at random; the stretches must not overlap, nor pass the end of the history.
    seen : record array (k, n, t)
        Of dtype ``layout.STATE``, filled. What happens at the very moment is not in it.

    Returns
    -------
    int
        OVER when the guard has ended a history.
    """
    k, n, _ = seen.shape
    rows, natural = np.zeros((k, n, 0), L.INCIDENT), np.zeros(1, L.INCIDENT)
    summary, looks = np.zeros((k, n), L.SUMMARY), (times, spans, seen)
    return run_histories(
        params, placement, seed, first, False, 0, rows, natural, summary, guard, looks
    )


@kernel
def look_time(times, spans, seed, history, i):
    """Return when [s] look ``i`` into a history falls; after the last one: never."""
    if i >= len(times):
        return L.NEVER
    return times[i] - spans[i] * uniform(seed, history, LOOK_DRAWS, i)


@entry
def fill_look_times(times, spans, seed, at):
    """Fill ``at`` (n, t) with the times of all looks into the first ``n`` histories."""
    for h in range(at.shape[0]):
        for i in range(at.shape[1]):
            at[h, i] = look_time(times, spans, seed, np.uint64(h), i)


@part
def run_history(
    p, share_cum, cell_cum, cell, states, clocks, course, placed, probe, rows, natural, guard,
    look_times, look_spans, seen,
):  # fmt: skip
    """Run the history whose state is the first of ``states``; False when the guard has ended it."""
    s = states[0]
    room = len(rows)
    extra = room > len(placed)
    times, fork_times, delay = clocks[0], clocks[1], clocks[2]
    times.fill(L.NEVER)
    start(p, s, delay)
    c, now = next_ring(delay, times, 0.0, clocks.shape[1])
    begin_course(course, placed, room)
    looks = 0
    look = look_time(look_times, look_spans, s.seed, s.history, 0)
    while True:
        while look <= now and look <= p.service_life:
            seen[looks] = states[0]
            looks += 1
            look = look_time(look_times, look_spans, s.seed, s.history, looks)
        while course.next <= now and course.next < p.service_life:
            next_probe(course, share_cum, cell_cum, cell, s.seed, s.history, placed, room, probe)
            row = rows[probe.number : probe.number + 1]
            row[0].design = guard.design
            if not resolve(p, states, times, fork_times, delay, probe, row, guard):
                return False
        if now >= p.service_life:
            break
        before = s.limit
        react(c, now, p, s, delay, natural)
        if is_over(guard, s.events, c):
            return False
        if extra:
            note_impairment(course, impairments(p, s, now), now, s.seed, s.history, placed, room)
        c, now = next_ring(delay, times, now, max(before, s.limit))
    close(p, s, p.service_life, natural)
    return True


@entry
def _run_all(
    params, share_cum, cell_cum, cell, seed, first, states, clocks, courses, placed, probes, rows,
    natural, summary, guards, look_times, look_spans, seen,
):  # fmt: skip
    """Do what :func:`run_histories` and :func:`look_into` say, in arrays that they have made.

    ``states`` (3,) are for a history, its forks, and blank; ``clocks`` (3, number of clocks) for
    their times and for delays.
    """
    k, n, _room = rows.shape
    course, probe, guard = courses[0], probes[0], guards[0]
    count = 0
    for h in range(n):
        history = first + np.uint64(h)
        place_probes(share_cum, cell_cum, cell, seed, history, placed)
        for d in range(k):
            states[0] = states[2]
            s = states[0]
            s.seed = seed
            s.history = history
            s.focus = L.EVERY_LEAK
            s.n_rows = count
            guard.design = d
            guard.history = history
            for c in range(clocks.shape[1]):
                guard.rings[c] = 0
            if not run_history(
                params[d], share_cum, cell_cum, cell, states, clocks, course, placed, probe,
                rows[d, h], natural, guard, look_times, look_spans, seen[d, h],
            ):  # fmt: skip
                return OVER
            for r in range(count, min(s.n_rows, len(natural))):
                natural[r].design = d
                natural[r].weight = s.weight
            count = s.n_rows + s.lost_rows
            fill_summary(s, summary[d, h])
    return count


@part
def fill_summary(s, out):
    """Write the counts of a history."""
    out.nuisance_closings = s.nuisance_closings
    out.strokes = s.demands
    out.stalls = s.stalls
    out.leaks = s.leaks
    out.dropped = s.dropped
    out.events = s.events
    out.repair_cost = s.repair_cost
    for i in range(len(s.dry)):
        out.dry[i] = s.dry[i]
    out.fitted_as = s.fitted_as
    out.rung = s.rung
    for i in range(len(s.repairs)):
        out.repairs[i] = s.repairs[i]
