"""Where people are: a weekly pattern with a daily draw, and trips on top of it."""

from __future__ import annotations

from shutoffsim.model.compiled import entry, kernel
from shutoffsim.model.layout import AWAKE, AWAY, HALF_HOURS, NEVER, OUT, PERHAPS_OUT
from shutoffsim.model.streams import PRESENCE_DRAWS, uniform

HALF_HOUR = 1800.0
DAY = 86400.0
# Half hours are told apart half a second early: a clock set to a boundary may ring an ulp before.
_SLACK = 0.5


@kernel
def in_half_hour(p, s, number):
    """Return where people are in half hour ``number`` since commissioning, trips aside."""
    code = p.people_week[number % HALF_HOURS]
    if code == PERHAPS_OUT:
        day = number // 48
        out = uniform(s.seed, s.history, PRESENCE_DRAWS, day) < p.people_out_chance[day % 7]
        return OUT if out else AWAKE
    return code


@entry
def presence_at(p, s, t):
    """Return AWAKE, ASLEEP, OUT or AWAY at time ``t`` [s] (trips as the state has them)."""
    if s.trip == 1:
        return AWAY
    return in_half_hour(p, s, int((t + _SLACK) / HALF_HOUR))


@kernel
def until_presence_changes(p, s, t):
    """Return the delay [s] until people are elsewhere than ``s.presence``; NEVER during a trip."""
    if s.trip == 1:
        return NEVER
    number = int((t + _SLACK) / HALF_HOUR)
    end = number + HALF_HOURS
    while number < end:
        number += p.people_week_stays[number % HALF_HOURS]
        if in_half_hour(p, s, number) != s.presence:
            return number * HALF_HOUR - t
    return NEVER
