"""Override: a person on the way to the valve, freeing it, and turning it by hand."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model import layout as L
from shutoffsim.model.compiled import kernel, part
from shutoffsim.model.fitted import closes_itself, has_coil, is_clamped
from shutoffsim.model.quantiles import normal_quantile, quantile
from shutoffsim.model.streams import PEOPLE_DRAWS, PER_LEAK, uniform
from shutoffsim.model.valve import closing_torque

# Draws of one leak in PEOPLE_DRAWS.
(
    AT_HOME,
    NEIGHBOUR,
    PHONE,
    TRAVEL,
    KEY,
    KEY_TRAVEL,
    FIND,
    SEARCH,
    SCREW,
    TOOL,
    TOOL_SEARCH,
    RELEASE,
    STRENGTH,
    GRIP,
    UPSTREAM,
) = np.arange(15)


@kernel
def person_draw(s, slot, which):
    """Return the uniform number ``which`` of the people around this leak."""
    return uniform(s.seed, s.history, PEOPLE_DRAWS, s.leak_key[slot] * PER_LEAK + which)


@part
def draw_needs(p, s, slot):
    """Draw how much longer or shorter than the median each kind of noticing takes this time."""
    at_home = normal_quantile(person_draw(s, slot, AT_HOME))
    neighbour = normal_quantile(person_draw(s, slot, NEIGHBOUR))
    phone = normal_quantile(person_draw(s, slot, PHONE))
    s.leak_home_need[slot] = math.exp(p.people_notice_log_spread * at_home)
    s.leak_near_need[slot] = math.exp(p.people_notice_log_spread * neighbour)
    s.leak_call_need[slot] = math.exp(p.notification_log_spread * phone)


@part
def travel_time(p, s, slot):
    """Return the time [s] until somebody told of the leak stands in the dwelling."""
    if s.presence == L.OUT:
        return quantile(p.override_travel_out, person_draw(s, slot, TRAVEL))
    if s.presence == L.AWAY:
        if person_draw(s, slot, KEY) < p.override_key_holder:
            return quantile(p.override_key_holder_time, person_draw(s, slot, KEY_TRAVEL))
        return quantile(p.override_travel_away, person_draw(s, slot, TRAVEL))
    return 0.0


@part
def freeing_time(p, s, slot):
    """Return the time [s] to free the valve from its actuator, tool search included."""
    if not closes_itself(p):
        return 0.0
    if not is_clamped(p) or p.mount_kind == L.MOUNT_QUICK_RELEASE:
        return quantile(p.mount_release_time, person_draw(s, slot, RELEASE))
    time = p.mount_fasteners * quantile(p.mount_fastener_time, person_draw(s, slot, SCREW))
    if person_draw(s, slot, TOOL) >= p.mount_tool_at_hand:
        time += quantile(p.mount_tool_search, person_draw(s, slot, TOOL_SEARCH))
    return time


@part
def work(p, s, now, slot):
    """Start closing by hand: set the time until the water is off, and by which valve.

    Finding the valve, freeing it, turning it; where the hand cannot, the next valve upstream.
    """
    time = quantile(p.override_find_known, person_draw(s, slot, FIND))
    if s.knows_valve == 0:
        time += quantile(p.override_find_unknown, person_draw(s, slot, SEARCH))
    time += freeing_time(p, s, slot) * p.override_access
    by = L.BY_HAND
    required = closing_torque(p, s, now, person_draw(s, slot, GRIP))
    if not has_coil(p) and required > quantile(
        p.override_hand_torque, person_draw(s, slot, STRENGTH)
    ):
        by = L.BY_UPSTREAM
        time += quantile(p.override_upstream, person_draw(s, slot, UPSTREAM))
    else:
        time += p.valve_turns * p.override_hand_turn * p.override_access
    s.leak_coming[slot] = L.WORKING
    s.leak_hands[slot] = time
    s.leak_hands_by[slot] = by
