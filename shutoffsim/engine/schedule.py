"""Which probes a history carries, and when: the same schedule for both engines.

Each history carries ``m`` probes at stratified times. Where there is room for more, the rest are
extra probes in the stretches in which automation is impaired: there they come as a Poisson process
with rate EXTRA / (time impaired so far + EXTRA_START), so that short and long stretches both get
some, times the share of the room that is left, so that it never stops short. When one more thing
gets impaired, that time starts anew. A probe's weight is the leak rate over the *sum* of both
densities at its place, which keeps sums over all probes unbiased: the density depends on the
history so far alone.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from shutoffsim.engine.placement import Placement
from shutoffsim.model import layout as L
from shutoffsim.model.compiled import entry, kernel, part
from shutoffsim.model.streams import EXTRA_DRAWS, PROBE_DRAWS, uniform

#: One probe of a history: its number, source, time [s] and density [1/s] of its source's probes.
PLACED = np.dtype(
    (np.record, [("number", np.int64), ("source", np.int64), ("time", "f8"), ("density", "f8")])
)

#: How far a history has come with its probes.
COURSE = np.dtype(
    (
        np.record,
        [
            ("next", "f8"),  # time of the next probe, s; NEVER: none as things are
            ("stratified", np.int64),  # probes of this kind so far
            ("extra", np.int64),  # extra probes so far
            ("draws", np.int64),  # draws taken for these
            ("impaired", np.int64),  # how many things are
            ("since", "f8"),  # when that number last rose from 0 or further, s; NEVER: none is
            ("reach", "f8"),  # time impaired at its last extra probe, plus EXTRA_START
            ("wait", "f8"),  # unit exponential to the next one
        ],
    )
)

EXTRA = 4.0  # extra probes per e-fold of the time impaired
EXTRA_START = 3600.0  # s


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
    return i, t, share * mass / cell * m


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
    """Return the ``m`` stratified probes of a history (:data:`PLACED` (m,)), in order of time."""
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


@part
def extra_rate(course, m, room):
    """Return the extra probes per e-fold of the time impaired, as things are."""
    if course.since == L.NEVER or m + course.extra >= room:
        return 0.0
    return EXTRA * (room - m - course.extra) / (room - m)


@part
def time_extra(course, m, room):
    """Return the time [s] of the next extra probe as things are."""
    rate = extra_rate(course, m, room)
    if rate <= 0.0:
        return L.NEVER
    return course.since - EXTRA_START + course.reach * math.exp(course.wait / rate)


@kernel
def set_next(course, placed, room):
    """Note when the next probe comes."""
    m = len(placed)
    t = placed[course.stratified].time if course.stratified < m else L.NEVER
    course.next = min(t, time_extra(course, m, room))


@entry
def begin_course(course, placed, room):
    """Start the schedule of a history with stratified probes ``placed`` and ``room`` for all."""
    course.stratified = 0
    course.extra = 0
    course.draws = 0
    course.impaired = 0
    course.since = L.NEVER
    set_next(course, placed, room)


@entry
def note_impairment(course, impaired, now, seed, history, placed, room):
    """Note how many things are impaired from ``now`` on."""
    if impaired == course.impaired:
        return
    if impaired > course.impaired:
        course.since = now
        course.reach = EXTRA_START
        course.wait = -math.log1p(-uniform(seed, history, EXTRA_DRAWS, course.draws))
        course.draws += 1
    elif impaired == 0:
        course.since = L.NEVER
    course.impaired = impaired
    set_next(course, placed, room)


@part
def cell_density(cell_cum, cell, i, t):
    """Return the density [1/s] of source ``i``'s stratified probes at ``t``."""
    g = min(int(t / cell), cell_cum.shape[1] - 2)
    return (cell_cum[i, g + 1] - cell_cum[i, g]) / cell


@entry
def next_probe(course, share_cum, cell_cum, cell, seed, history, placed, room, probe):
    """Fill ``probe`` (:data:`PLACED`) with the next probe, which comes at ``course.next``."""
    m = len(placed)
    rate = extra_rate(course, m, room)
    spread = 0.0
    if rate > 0.0:
        spread = rate / (course.next - course.since + EXTRA_START)
    probe.time = course.next
    if course.stratified < m and placed[course.stratified].time <= time_extra(course, m, room):
        i = placed[course.stratified].source
        probe.number = placed[course.stratified].number
        share = share_cum[i + 1] - share_cum[i]
        probe.density = placed[course.stratified].density + share * spread
        course.stratified += 1
    else:
        i = stretch_of(share_cum, uniform(seed, history, EXTRA_DRAWS, course.draws))
        probe.number = m + course.extra
        share = share_cum[i + 1] - share_cum[i]
        probe.density = share * (m * cell_density(cell_cum, cell, i, course.next) + spread)
        course.wait = -math.log1p(-uniform(seed, history, EXTRA_DRAWS, course.draws + 1))
        course.reach = course.next - course.since + EXTRA_START
        course.draws += 2
        course.extra += 1
    probe.source = i
    set_next(course, placed, room)
