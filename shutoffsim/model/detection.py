"""Detection: water reaching sensors, the meter's flow rule, and people noticing."""

from __future__ import annotations

import math

from shutoffsim.model import layout as L
from shutoffsim.model.compiled import kernel, part
from shutoffsim.model.power import DARK, house_is_live, power_source
from shutoffsim.model.quantiles import quantile, waiting
from shutoffsim.model.spread import until_lies
from shutoffsim.model.streams import (
    LINK_DRAWS,
    LINKS_PER_LEAK,
    PATH_DRAWS,
    PER_LINK,
    PER_PATH,
    SENSOR_DRAWS,
    uniform,
)


@part
def lay_paths(p, s, slot):
    """Draw which sensors the water of a new leak will meet, and after how much water each."""
    key = s.leak_key[slot]
    source = s.leak_source[slot]
    zone = p.source_zone[source]
    inside = (
        uniform(s.seed, s.history, PATH_DRAWS, key * PER_PATH + PER_PATH - 1)
        < p.source_out_of_reach[source]
    )
    for k in range(p.n_sensors):
        s.report[slot, k] = L.DONE
        s.report_tries[slot, k] = 0
        s.reach_volume[slot, k] = math.inf
        if inside or p.sensor_zone[k] != zone:
            continue
        count = key * PER_PATH + 2 * k
        if uniform(s.seed, s.history, PATH_DRAWS, count) < p.sensor_reach_chance[k]:
            area = quantile(
                p.sensor_reach_area[k], uniform(s.seed, s.history, PATH_DRAWS, count + 1)
            )
            s.reach_volume[slot, k] = area * s.leak_film[slot]
            s.report[slot, k] = L.ON_ITS_WAY


@part
def until_report(p, s, slot):
    """Return the delay [s] to the next sensor report of this leak and note which sensor it is.

    Water arrives when area x film thickness lies on the floor; a change of flow is followed
    exactly.
    """
    best = math.inf
    for k in range(p.n_sensors):
        stage = s.report[slot, k]
        if stage == L.DONE or stage == L.UNHEARD:
            continue
        if stage == L.REPORTING:
            left = s.report_left[slot, k]
        else:
            left = until_lies(p, s, slot, s.reach_volume[slot, k])
        left = max(left, 0.0)
        if left < best:
            best = left
            s.leak_next[slot] = k
    return best


@part
def report_again(p, s, slot):
    """The water runs again: sensors that are wet report anew."""
    for k in range(p.n_sensors):
        if s.reach_volume[slot, k] <= s.leak_most_lying[slot]:
            s.report[slot, k] = L.REPORTING
            s.report_left[slot, k] = p.detection_report_interval
            s.report_tries[slot, k] = 0


@kernel
def ask_again(p, s):
    """Somebody can listen again: supervised sensors that are still wet report once more."""
    for slot in range(s.slots):
        for k in range(p.n_sensors):
            wet = s.reach_volume[slot, k] <= s.leak_lying[slot]
            if s.leak_on[slot] == 1 and s.report[slot, k] == L.UNHEARD and wet:
                s.report[slot, k] = L.REPORTING
                s.report_left[slot, k] = p.detection_report_interval


@part
def report_is_lost(p, s, slot, k):
    """Return whether all radio attempts of this report fail."""
    tries = min(s.report_tries[slot, k], PER_LINK - 1)
    count = (s.leak_key[slot] * LINKS_PER_LEAK + k) * PER_LINK + tries
    u = uniform(s.seed, s.history, LINK_DRAWS, count)
    return u < (1.0 - p.sensor_attempt_success[k]) ** p.sensor_attempts[k]


@kernel
def next_sensor_death(p, s, k, now):
    """Return the delay [s] until sensor ``k``, renewed now, dies by itself or by its battery."""
    own = p.sensor_failure_rate[k] * (1.0 - p.detection_common_cause)
    fails = waiting(own, sensor_draw(s, k))
    lives = min(fails, quantile(p.sensor_battery_life[k], sensor_draw(s, k)))
    s.sensor_new_at[k] = now
    s.sensor_dies_at[k] = now + lives
    return lives


@kernel
def sensor_draw(s, k):
    """Return the next uniform of sensor ``k``."""
    u = uniform(s.seed, s.history, SENSOR_DRAWS + k, s.n_sensor[k])
    s.n_sensor[k] += 1
    return u


@kernel
def is_alive(p, s, at):
    """Return whether the sensor works whose false alarm is ``at`` [1/s] along their rates."""
    for k in range(p.n_sensors):
        at -= p.sensor_false_alarm_rate[k]
        if at < 0.0:
            return s.sensor_ok[k] == 1
    return True


@kernel
def shock_rate(p):
    """Return the rate [1/s] of events that kill all sensors at once: beta times the highest."""
    greatest = 0.0
    for k in range(p.n_sensors):
        greatest = max(greatest, p.sensor_failure_rate[k])
    return p.detection_common_cause * greatest


@kernel
def rule_counts(p, s, slot):
    """Return whether the meter sees this leak as flow above the rule's threshold."""
    if p.flow_rule_fitted == 0:
        return False
    return (
        s.leak_flow[slot] >= max(p.flow_rule_starting_flow, p.flow_rule_flow)
        and s.leak_flow[slot] > 0.0
    )


@kernel
def until_limit(p, s, slot):
    """Return the delay [s] until a leak that the rule counts reaches a limit; 0: it has."""
    longest, most = p.flow_rule_time, p.flow_rule_volume
    if s.away_mode == 1:
        longest, most = p.flow_rule_time_away, p.flow_rule_volume_away
    by_time = longest - s.leak_run[slot]
    by_volume = (most - s.leak_run_volume[slot]) / s.leak_flow[slot]
    return max(min(by_time, by_volume), 0.0)


@part
def count_flow(p, s, slot, passed):
    """Let the rule count what has run for ``passed`` seconds."""
    flow = s.leak_flow[slot]
    ahead = until_limit(p, s, slot)
    if ahead > 0.0:  # also when limits are wider again
        s.leak_run_past[slot] = 0.0
    s.leak_run_past[slot] += max(passed - ahead, 0.0) * flow
    s.leak_run[slot] += passed
    s.leak_run_volume[slot] += flow * passed


@kernel
def forget_flow(s, slot):
    """Let the rule count this leak from zero."""
    s.leak_run[slot] = 0.0
    s.leak_run_volume[slot] = 0.0
    s.leak_run_past[slot] = 0.0


@part
def until_rule(p, s, slot):
    """Return the delay [s] until the flow rule trips: one pulse after a limit was reached."""
    if s.leak_rule[slot] == 1 or not rule_counts(p, s, slot):
        return math.inf
    ahead = until_limit(p, s, slot)
    past = s.leak_run_past[slot] if ahead == 0.0 else 0.0
    return ahead + max(p.flow_rule_pulse_volume - past, 0.0) / s.leak_flow[slot]


@kernel
def siren_sounds(p, s, slot):
    """Return whether the siren sounds for this leak: it was set off, and something feeds it."""
    if s.leak_siren[slot] == 0 or p.siren_fitted == 0:
        return False
    if p.siren_power == L.SIREN_ON_MAINS:
        return house_is_live(s)
    if p.siren_power == L.SIREN_ON_CONTROLLER:
        return s.controller == 1 and power_source(p, s) != DARK
    return True


@kernel
def home_median(p, s, slot):
    """Return the median time [s] for somebody at home to notice, as things are; inf: nobody."""
    if s.presence == L.OUT or s.presence == L.AWAY:
        return math.inf
    median = p.people_notice_burst if s.leak_burst[slot] == 1 else p.people_notice_seep
    median *= p.source_hidden[s.leak_source[slot]]
    siren = siren_sounds(p, s, slot)
    if s.presence == L.ASLEEP:
        median *= p.people_notice_asleep
        return min(median, p.siren_asleep) if siren else median
    return min(median, p.siren_awake) if siren else median


@kernel
def call_median(p, s, slot):
    """Return the median time [s] to notice the notification that is out; inf: none is."""
    if s.leak_phone[slot] != 1:
        return math.inf
    if s.presence == L.ASLEEP:
        return p.notification_asleep
    if s.presence == L.AWAY:
        return p.notification_away
    return p.notification_awake


@kernel
def until_shows_below(p, s, slot):
    """Return the delay [s] until the neighbour below can see the leak; inf: never."""
    if p.neighbour_notices == 0:
        return math.inf
    return until_lies(p, s, slot, p.neighbour_volume)
