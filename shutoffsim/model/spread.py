"""Water that lies on the floor: it spreads, and it dries.

A film of thickness h that loses e per area and time dries off its own area at V / (h / e), so a
flow q wets at most the area q / e, and comes there with the time h / e.
"""

from __future__ import annotations

import math

from shutoffsim.model.compiled import kernel

DRAINED_BY_HAND = 300.0  # s from there on until a tap lower down is open, assumption


@kernel
def drying_time(film, evaporation):
    """Return the time [s] in which a film [m] dries at ``evaporation`` [m/s]; inf: it does not."""
    return film / evaporation if evaporation > 0.0 else math.inf


@kernel
def lying_after(start, flow, drying, time):
    """Return the water [m3] that lies on the floor after ``time`` [s].

    ``start`` [m3] lay there before, ``flow`` [m3/s] comes on, ``drying`` [s] is that of the film:
    dV/dt = flow - V / drying.
    """
    if drying == math.inf:
        return start + flow * time
    return start + (flow * drying - start) * -math.expm1(-time / drying)


@kernel
def until_lying(start, flow, drying, wanted):
    """Return the time [s] until ``wanted`` [m3] lies on the floor; inf: it never does."""
    if wanted <= start:
        return 0.0
    if drying == math.inf:
        return (wanted - start) / flow if flow > 0.0 else math.inf
    most = flow * drying
    if wanted >= most:
        return math.inf
    return drying * math.log1p((wanted - start) / (most - wanted))


@kernel
def lying_in(p, s, slot, time):
    """Return what lies there [m3] after ``time`` [s], and the most that lay there meanwhile."""
    drying = drying_time(s.leak_film[slot], p.dwelling_evaporation)
    start, most = s.leak_lying[slot], s.leak_most_lying[slot]
    stored = stored_lasts(s, slot)
    if stored > 0.0:
        first = min(stored, time)
        start = lying_after(start, s.leak_flow[slot] + s.leak_drain_flow[slot], drying, first)
        most = max(most, start)
        time -= first
    start = lying_after(start, s.leak_flow[slot], drying, time)
    return start, max(most, start)


@kernel
def until_lies(p, s, slot, wanted):
    """Return the time [s] until ``wanted`` [m3] of this leak lies on the floor; inf: never."""
    if wanted <= s.leak_most_lying[slot]:
        return 0.0
    drying = drying_time(s.leak_film[slot], p.dwelling_evaporation)
    start = s.leak_lying[slot]
    stored = stored_lasts(s, slot)
    flow = s.leak_flow[slot]
    if stored > 0.0:
        soon = until_lying(start, flow + s.leak_drain_flow[slot], drying, wanted)
        if soon <= stored:
            return soon
        start = lying_after(start, flow + s.leak_drain_flow[slot], drying, stored)
    return stored + until_lying(start, flow, drying, wanted)


@kernel
def stored_lasts(s, slot):
    """Return how long [s] water stored above a stopped leak still runs out."""
    if s.leak_stopped[slot] == 0 or s.leak_drain[slot] <= 0.0 or s.leak_drain_flow[slot] <= 0.0:
        return 0.0
    return s.leak_drain[slot] / s.leak_drain_flow[slot]


@kernel
def run_on(p, s, slot, time):
    """Let the water of a leak escape and spread for ``time`` [s]."""
    s.leak_lying[slot], s.leak_most_lying[slot] = lying_in(p, s, slot, time)
    stored = stored_lasts(s, slot)
    if stored > 0.0:
        drained = s.leak_drain_flow[slot] * time if time < stored else s.leak_drain[slot]
        s.leak_drain[slot] -= drained
        s.leak_volume[slot] += drained
    s.leak_volume[slot] += s.leak_flow[slot] * time


@kernel
def dry_at(p, s, slot):
    """Return when [s] the floor is dry again by itself; inf: not as long as water comes on.

    What a shut valve lets by keeps nothing wet if it wets no more than is harmless.
    """
    drying = drying_time(s.leak_film[slot], p.dwelling_evaporation)
    if s.leak_stopped[slot] == 0 or drying == math.inf:
        return math.inf
    if s.leak_flow[slot] * drying > p.damage_harmless:
        return math.inf
    return s.leak_drained_at[slot] + drying
