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
    SEES,
) = np.arange(16)


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
def shows(p, s, slot):
    """Return whether this leak shows to somebody who looks after an empty building."""
    return person_draw(s, slot, SEES) < p.people_visit_sees


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
    """Return the time [s] to free the valve from its actuator, with the tools at hand."""
    if not closes_itself(p) or s.gave_up == 1:
        return 0.0
    if has_screws(p):
        return p.mount_fasteners * quantile(p.mount_fastener_time, person_draw(s, slot, SCREW))
    return quantile(p.mount_release_time, person_draw(s, slot, RELEASE))


@kernel
def has_screws(p):
    """Return whether the actuator comes off by screws."""
    return is_clamped(p) and p.mount_kind == L.MOUNT_SCREWS


@kernel
def needs_tool(p, required, u):
    """Return whether the fingers of a person of strength ``u`` cannot turn what a tool can."""
    return p.override_tool_fits == 1 and required > quantile(p.override_hand_torque, u)


@kernel
def hand_torque(p, required, u):
    """Return the torque [N*m] that a person of strength ``u`` in (0, 1) puts on the stem."""
    if needs_tool(p, required, u):
        return quantile(p.override_tool_torque, u)
    return quantile(p.override_hand_torque, u)


@kernel
def shears(p, required, torque):
    """Return whether the stem gives way before the valve does."""
    return min(required, torque) > p.valve_stem_limit


@part
def tool_search(p, s, slot):
    """Return the time [s] to find the tools, if they are not at hand."""
    if person_draw(s, slot, TOOL) < p.mount_tool_at_hand:
        return 0.0
    return quantile(p.mount_tool_search, person_draw(s, slot, TOOL_SEARCH))


@part
def work(p, s, now, slot):
    """Start closing by hand: set the time until the water is off, and by which valve.

    Finding the valve, freeing it, turning it; where the hand cannot, or shears the stem, the next
    valve upstream.
    """
    time = quantile(p.override_find_known, person_draw(s, slot, FIND))
    if s.knows_valve == 0:
        time += quantile(p.override_find_unknown, person_draw(s, slot, SEARCH))
    by = L.BY_HAND
    required = 0.0
    if not has_coil(p):
        required = closing_torque(p, s, now, person_draw(s, slot, GRIP))
    strength = person_draw(s, slot, STRENGTH)
    freeing = freeing_time(p, s, slot)
    unscrews = has_screws(p) and closes_itself(p) and s.gave_up == 0
    if unscrews or needs_tool(p, required, strength):
        freeing += tool_search(p, s, slot)
    time += freeing * p.override_access
    torque = hand_torque(p, required, strength)
    s.leak_shears[slot] = 1 if shears(p, required, torque) else 0
    if required > torque or s.leak_shears[slot] == 1:
        by = L.BY_UPSTREAM
        time += quantile(p.override_upstream, person_draw(s, slot, UPSTREAM))
    else:
        time += p.valve_turns * p.override_hand_turn * p.override_access
    s.leak_coming[slot] = L.WORKING
    s.leak_hands[slot] = time
    s.leak_hands_by[slot] = by
