"""The gateway: whether messages get out, to people or to what decides."""

from __future__ import annotations

import math

from shutoffsim.model import layout as L
from shutoffsim.model.compiled import kernel
from shutoffsim.model.power import house_is_live
from shutoffsim.model.streams import GATEWAY_DRAWS, LOOKS_OF_ONE, uniform


@kernel
def gateway_is_up(p, s, now):
    """Return whether gateway and outside line work now.

    A two-state Markov process looked at only when needed: given the last look, the chance to be up
    relaxes to the availability with the rate of failure plus repair.
    """
    if p.gateway_fitted == 0 or (not house_is_live(s) and p.gateway_backed_up == 0):
        return False
    if p.gateway_availability >= 1.0:
        return True
    chance = p.gateway_availability
    if s.gateway_at >= 0.0:
        restore = 1.0 / p.gateway_outage
        fail = (
            restore * (1.0 - p.gateway_availability) / p.gateway_availability
            if p.gateway_availability > 0.0
            else math.inf
        )
        fade = math.exp(-(restore + fail) * (now - s.gateway_at))
        chance += (s.gateway - p.gateway_availability) * fade
    count = s.n_gateway % LOOKS_OF_ONE
    if s.focus != L.EVERY_LEAK:
        count += s.focus * LOOKS_OF_ONE  # each probe looks for itself
    u = uniform(s.seed, s.history, GATEWAY_DRAWS, count)
    s.n_gateway += 1
    s.gateway = 1 if u < chance else 0
    s.gateway_at = now
    return s.gateway == 1


@kernel
def notify(p, s, now, slot):
    """Send a notification about this leak, if it gets out."""
    if s.leak_phone[slot] == 0 and gateway_is_up(p, s, now):
        s.leak_phone[slot] = 1
