"""One leak from onset to its settled loss: how it runs on, stops, resumes and ends."""

from __future__ import annotations

import math

from shutoffsim.model import damage, detection, leak, override, power, reopening, spread
from shutoffsim.model import layout as L
from shutoffsim.model.compiled import kernel, part
from shutoffsim.model.fitted import closes_itself
from shutoffsim.model.occupancy import presence_at, until_presence_changes
from shutoffsim.model.quantiles import quantile

GRAVITY = 9.80665  # m/s2


@kernel
def first_leak_clock(p):
    """Return the number of the first clock of the first open leak."""
    return L.FIRST_SOURCE + p.n_sources + p.n_sensors


@part
def clock_count(p, s):
    """Return how many clocks can ring at present."""
    return first_leak_clock(p) + s.slots * L.CLOCKS_PER_LEAK


@kernel
def propose(s, slot, mode):
    """Note a broken link; the furthest along the chain is the one that counts."""
    s.leak_mode[slot] = max(s.leak_mode[slot], mode)


@kernel
def propose_to_demanded(s, mode):
    """Note a broken link for every running leak for which closing was ordered."""
    for slot in range(s.slots):
        if s.leak_on[slot] == 1 and s.leak_demanded[slot] == 1 and s.leak_stopped[slot] == 0:
            propose(s, slot, mode)


@kernel
def leak_wants_shut(s):
    """Return whether a leak that has not ended was ordered shut."""
    for slot in range(s.slots):
        if s.leak_on[slot] == 1 and s.leak_demanded[slot] == 1:
            return True
    return False


@kernel
def set_flow(p, s, slot):
    """Set the flow of a leak from the position of the valve."""
    full = s.leak_full[slot]
    if s.leak_stopped[slot] == 1:
        s.leak_flow[slot] = min(s.seat_leak, full)
    elif s.position == L.SHORT:
        s.leak_flow[slot] = full * p.actuator_short_flow
    else:
        s.leak_flow[slot] = full


@kernel
def stop(p, s, now, slot, by):
    """The water to this leak is off; what is stored above it still runs out by its own hole.

    At half of the flow that its head drives at first, so in the time that E. Torricelli's law
    gives an upright tank: the head falls with what has run out, the flow with its root.
    """
    s.leak_stopped[slot] = 1
    s.leak_stopped_at[slot] = now
    s.leak_by[slot] = by
    head = p.water_density * GRAVITY * p.dwelling_drain_head
    by_itself = 0.5 * s.leak_full[slot] * math.sqrt(head / s.pressure)
    through_seat = min(s.seat_leak, s.leak_full[slot])  # fills up what runs out
    s.leak_drain_flow[slot] = max(by_itself - through_seat, 0.0)
    s.leak_drained_at[slot] = now + spread.stored_lasts(s, slot)


@part
def resume(p, s, now, slot):
    """The valve is open again and this leak was not mended: it runs on."""
    if s.leak_by[slot] == L.BY_ALREADY_SHUT:
        s.leak_wet_at[slot] = now  # until now only stored water had come out
    s.leak_stopped[slot] = 0
    s.leak_by[slot] = L.BY_NOBODY
    s.leak_demanded[slot] = 0
    s.leak_votes[slot] = 0
    detection.forget_flow(s, slot)
    s.leak_rule[slot] = 0
    detection.report_again(p, s, slot)


@kernel
def set_position(p, s, now, position, by):
    """Put the valve to OPEN, SHUT or SHORT and let the open leaks follow.

    Whatever shut it, it is kept shut for a leak that was ordered shut.
    """
    s.position = position
    if position == L.SHUT and leak_wants_shut(s):
        s.hold_leak = 1
    for slot in range(s.slots):
        if s.leak_on[slot] == 0:
            continue
        if position == L.SHUT and s.leak_stopped[slot] == 0:
            stop(p, s, now, slot, by)
        elif position != L.SHUT and s.leak_stopped[slot] == 1:
            resume(p, s, now, slot)
        set_flow(p, s, slot)


@kernel
def reopen_if_free(p, s, now, by_person, delay):
    """Open the valve unless something still wants it shut; the actuator may not be able to."""
    if s.hold_leak == 1 or s.hold_away == 1 or s.hold_power == 1 or s.hold_nuisance == 1:
        return
    s.believed_shut = 0
    if s.position != L.OPEN:
        s.strokes += 1.0
        if s.position == L.SHUT and not by_person and not reopening.opens(p, s, now):
            s.stuck_shut = 1
            reopening.somebody_must_act(p, s, now, delay)
            return
        s.stuck_shut = 0
        s.water_back = L.NOBODY_ACTS
        delay[L.WATER_BACK] = L.NEVER
        set_position(p, s, now, L.OPEN, L.BY_NOBODY)
        power.coil_switched(p, s, now, delay, L.BATTERY_EMPTY)


@kernel
def begin_leak(p, s, now, source, key, delay):
    """Open a leak of ``source``; False when all slots are taken and it is dropped."""
    slot = -1
    for candidate in range(L.SLOTS):
        if s.leak_on[candidate] == 0:
            slot = candidate
            break
    if slot < 0:
        s.dropped += 1
        return False
    if s.open_leaks == 0:
        s.at = now
        s.presence = presence_at(p, s, now)
        delay[L.PRESENCE] = until_presence_changes(p, s, now)
    s.open_leaks += 1
    s.slots = max(s.slots, slot + 1)
    s.limit = clock_count(p, s)
    s.leak_on[slot] = 1
    s.leak_key[slot] = key
    s.leak_source[slot] = source
    s.leak_onset[slot] = now
    s.leak_wet_at[slot] = now
    s.leak_film[slot] = quantile(p.dwelling_film, leak.leak_draw(s, key, leak.FILM))
    seeping = leak.leak_draw(s, key, leak.SEEP) < p.source_seep_share[source]
    if seeping:
        s.leak_burst[slot] = 0
        seep = quantile(p.source_seep_flow[source], leak.leak_draw(s, key, leak.SEEP_FLOW))
        s.leak_full[slot] = min(seep, leak.burst_flow(p, s, source, key))
        s.leak_grow[slot] = quantile(
            p.source_seep_growth[source], leak.leak_draw(s, key, leak.GROWTH)
        )
    else:
        s.leak_burst[slot] = 1
        s.leak_full[slot] = leak.burst_flow(p, s, source, key)
        s.leak_grow[slot] = math.inf
    s.leak_first[slot] = s.leak_full[slot]
    s.leak_drain[slot] = quantile(p.dwelling_drain_down, leak.leak_draw(s, key, leak.DRAIN))
    s.leak_breaker[slot] = leak.breaker_volume(p, s, key, s.leak_film[slot])
    s.leak_drain_flow[slot] = 0.0
    s.leak_drained_at[slot] = math.inf
    s.leak_volume[slot] = 0.0
    s.leak_lying[slot] = 0.0
    s.leak_most_lying[slot] = 0.0
    s.leak_stopped[slot] = 0
    s.leak_by[slot] = L.BY_NOBODY
    s.leak_found[slot] = 0
    s.leak_sensed_at[slot] = math.nan
    s.leak_demanded[slot] = 0
    s.leak_mode[slot] = L.MODE_NONE
    s.leak_votes[slot] = 0
    s.leak_siren[slot] = 0
    s.leak_phone[slot] = 0
    s.leak_coming[slot] = L.NOT_COMING
    s.leak_hands[slot] = math.inf
    s.leak_shears[slot] = 0
    s.leak_home[slot] = 0.0
    s.leak_near[slot] = 0.0
    s.leak_call[slot] = 0.0
    detection.forget_flow(s, slot)
    s.leak_rule[slot] = 0
    s.leak_presence[slot] = s.presence
    s.leak_mains[slot] = s.mains
    override.draw_needs(p, s, slot)
    detection.lay_paths(p, s, slot)
    if s.position == L.SHUT:
        stop(p, s, now, slot, L.BY_ALREADY_SHUT)
    set_flow(p, s, slot)
    return True


@kernel
def advance(p, s, now):
    """Let the open leaks run from the last event to ``now``."""
    passed = now - s.at
    s.at = now
    for slot in range(s.slots):
        if s.leak_on[slot] == 0:
            continue
        below = detection.until_shows_below(p, s, slot)
        if passed > below:
            s.leak_near[slot] += (passed - below) / p.neighbour_notice
        s.leak_home[slot] += passed / detection.home_median(p, s, slot)
        s.leak_call[slot] += passed / detection.call_median(p, s, slot)
        if detection.rule_counts(p, s, slot):
            detection.count_flow(p, s, slot, passed)
        s.leak_grow[slot] -= passed
        s.leak_hands[slot] -= passed
        for k in range(p.n_sensors):
            if s.report[slot, k] == L.REPORTING:
                s.report_left[slot, k] -= passed
        spread.run_on(p, s, slot, passed)


@kernel
def remaining(need, done, median):
    """Return the time left until ``need`` is reached at one unit per ``median``."""
    if median == math.inf or need == math.inf:
        return math.inf
    return max(need - done, 0.0) * median


@kernel
def plan(p, s, delay):
    """Set the clocks of all leaks, open or not."""
    first = first_leak_clock(p)
    for slot in range(s.slots):
        clock = first + slot * L.CLOCKS_PER_LEAK
        for c in range(L.CLOCKS_PER_LEAK):
            delay[clock + c] = L.NEVER
        if s.leak_on[slot] == 0:
            continue
        if s.leak_burst[slot] == 0:
            delay[clock + L.GROW] = max(s.leak_grow[slot], 0.0)
        delay[clock + L.REPORT] = detection.until_report(p, s, slot)
        delay[clock + L.RULE] = detection.until_rule(p, s, slot)
        if s.leak_breaker[slot] < math.inf:
            delay[clock + L.BREAKER] = spread.until_lies(p, s, slot, s.leak_breaker[slot])
        if s.leak_coming[slot] != L.NOT_COMING:
            delay[clock + L.HANDS] = max(s.leak_hands[slot], 0.0)
        if s.leak_found[slot] == 1:
            continue
        delay[clock + L.HOME] = remaining(
            s.leak_home_need[slot], s.leak_home[slot], detection.home_median(p, s, slot)
        )
        delay[clock + L.CALL] = remaining(
            s.leak_call_need[slot], s.leak_call[slot], detection.call_median(p, s, slot)
        )
        if p.neighbour_notices == 1:
            delay[clock + L.NEAR] = detection.until_shows_below(p, s, slot) + remaining(
                s.leak_near_need[slot], s.leak_near[slot], p.neighbour_notice
            )
    if s.open_leaks == 0:
        s.slots = 0


@part
def failure_mode(p, s, slot):
    """Return why automation did not stop this leak in time; MODE_NONE when it did.

    "In time" is before late_volume has escaped. "Late" is left for a chain that held but was slow.
    Where a person was faster and no link broke, nothing has failed unless it was late, whether or
    not the water would have met a sensor.
    """
    late = s.leak_volume[slot] > p.damage_late_volume
    by = s.leak_by[slot]
    if not closes_itself(p) or s.gave_up == 1:
        return L.MODE_NO_AUTOMATION
    if not late and (by == L.BY_AUTOMATION or by == L.BY_ALREADY_SHUT):
        return L.MODE_NONE
    if s.leak_mode[slot] > L.MODE_NONE:
        return s.leak_mode[slot]
    if not late and by != L.BY_NOBODY:
        return L.MODE_NONE
    could = s.leak_demanded[slot] == 1
    for k in range(p.n_sensors):
        if s.reach_volume[slot, k] < math.inf:
            could = True
    if p.flow_rule_fitted == 1 and s.leak_full[slot] >= max(
        p.flow_rule_starting_flow, p.flow_rule_flow
    ):
        could = True
    if not could:
        return L.MODE_NOT_SENSED
    return L.MODE_LATE if late else L.MODE_NONE


@part
def write_row(p, s, now, slot, rows):
    """Write the incident of this leak."""
    if s.n_rows >= len(rows):
        s.lost_rows += 1
        return
    row = rows[s.n_rows]
    s.n_rows += 1
    source = s.leak_source[slot]
    onset = s.leak_onset[slot]
    volume = s.leak_volume[slot]
    lying = s.leak_most_lying[slot]
    wet_time = max(min(now, spread.dry_at(p, s, slot)) - s.leak_wet_at[slot], 0.0)
    area = damage.wetted_area(p, p.source_zone[source], lying, s.leak_film[slot])
    units = damage.units_affected(p, lying)
    severity = leak.leak_draw(s, s.leak_key[slot], leak.SEVERITY)
    modelled = damage.modelled_loss(p, lying, area, units, wet_time, p.source_grey[source])
    loss = damage.drawn_loss(p, modelled, severity)
    row.history = s.history
    row.probe = -1
    row.source = source
    row.weight = 1.0
    row.onset = onset
    row.flow = s.leak_first[slot]
    row.sensed = s.leak_sensed_at[slot] - onset
    row.stopped = s.leak_stopped_at[slot] - onset if s.leak_stopped[slot] == 1 else math.nan
    row.found = s.leak_found_at[slot] - onset if s.leak_found[slot] == 1 else math.nan
    row.stopped_by = s.leak_by[slot]
    row.mode = failure_mode(p, s, slot)
    row.presence = s.leak_presence[slot]
    row.mains = s.leak_mains[slot]
    row.volume = volume
    row.wet_area = area
    row.units = units
    row.wet_time = wet_time
    row.loss = loss
    row.insured = damage.insured_part(p, loss)
    row.modelled = modelled
    row.mean_loss, row.mean_insured = damage.mean_losses(p, modelled)


@kernel
def end_leak(p, s, now, slot, rows):
    """Settle a leak that is over, or cut off by the end of the history."""
    spread.run_on(p, s, slot, min(spread.stored_lasts(s, slot), spread.DRAINED_BY_HAND))
    if s.focus == L.EVERY_LEAK or s.focus == s.leak_key[slot]:
        write_row(p, s, now, slot, rows)
    s.leak_on[slot] = 0
    s.open_leaks -= 1
    if s.open_leaks == 0:
        s.limit = first_leak_clock(p)
