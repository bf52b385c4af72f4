"""The valve: the torque it needs, by age and idle time, and whether it has seized."""

from __future__ import annotations

import math

from shutoffsim.model.compiled import entry, kernel, part
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import VALVE_DRAWS, uniform

WEEK = 7.0 * 86400.0


@part
def age_growth(p, s, now):
    """Return the factor that age puts on breakaway torque: linear, age_factor at age_reference."""
    return 1.0 + (s.age_factor - 1.0) * (now - s.born_at) / p.age_reference


@part
def idle_growth(p, idle):
    """Return the factor after ``idle`` seconds without movement: 1 + c ln(1 + weeks), capped."""
    return min(1.0 + p.idle_growth * math.log1p(idle / WEEK), p.idle_cap)


@part
def breakaway_torque(p, s, now):
    """Return the torque [N*m] that starts the valve moving now."""
    return s.breakaway * age_growth(p, s, now) * idle_growth(p, now - s.moved_at)


@entry
def closing_torque(p, s, now, u):
    """Return the torque [N*m] to close at a demand; inf when the valve has seized."""
    if is_seized(s, now):
        return math.inf
    return breakaway_torque(p, s, now) * quantile(p.closing_share, u)


@entry
def is_seized(s, now):
    """Return whether the valve can no longer be turned."""
    return s.broken == 1 or now - s.moved_at > s.seize_after


@part
def renew(p, s, now, u):
    """A new valve of the same kind takes the place of this one."""
    s.breakaway = quantile(p.breakaway, u)
    s.born_at = now
    s.stiff_findings = 0


@kernel
def move(p, s, now):
    """The valve has been moved: idle time starts anew, with a new draw of when it would seize."""
    s.moved_at = now
    s.n_moves += 1
    u = uniform(s.seed, s.history, VALVE_DRAWS, s.n_moves)
    s.seize_after = quantile(p.seize_time, u)
