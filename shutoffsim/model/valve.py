"""The valve: the torque it needs, by age and idle time, and whether it has seized."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model.compiled import entry, kernel, law
from shutoffsim.model.layout import SOUND
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import VALVE_DRAWS, uniform

WEEK = 7.0 * 86400.0


@law
def age_growth(factor, age, reference):
    """Return the factor that ``age`` [s] puts on breakaway torque; numbers or arrays.

    What age adds grows in proportion to it: ``factor``, 1 or more, holds at ``reference`` [s].
    """
    return 1.0 + (factor - 1.0) * (age / reference)


@law
def idle_growth(c, idle, cap):
    """Return the factor after ``idle`` seconds of rest: 1 + c ln(1 + weeks), at most ``cap``.

    Numbers or arrays.
    """
    return np.minimum(1.0 + c * np.log1p(idle / WEEK), cap)


@law
def torque_to_open(new, factor, age, reference, c, idle, cap):
    """Return the torque that starts a valve moving, in the unit of ``new``; numbers or arrays.

    ``new`` is what it took when new; the others are those of the growth with age and with rest.
    """
    return new * age_growth(factor, age, reference) * idle_growth(c, idle, cap)


@kernel
def breakaway_torque(p, s, now):
    """Return the torque [N*m] that starts the valve moving now."""
    age, idle = now - s.born_at, now - s.moved_at
    return torque_to_open(
        s.breakaway,
        s.age_factor,
        age,
        p.valve_age_reference,
        p.valve_idle_growth,
        idle,
        p.valve_idle_cap,
    )


@entry
def closing_torque(p, s, now, u):
    """Return the torque [N*m] to close at a demand; inf when the valve has seized."""
    if is_seized(s, now):
        return math.inf
    return breakaway_torque(p, s, now) * quantile(p.valve_closing_share, u)


@kernel
def opening_torque(p, s, now):
    """Return the torque [N*m] to open the shut valve; inf when it has seized."""
    if is_seized(s, now):
        return math.inf
    return breakaway_torque(p, s, now) * p.valve_opening_share


@entry
def is_seized(s, now):
    """Return whether the valve can no longer be turned."""
    return s.broken != SOUND or now - s.moved_at > s.seize_after


@kernel
def renew(p, s, now, u):
    """A new valve of the same kind takes the place of this one."""
    s.breakaway = quantile(p.valve_breakaway, u)
    s.born_at = now
    s.stiff_findings = 0
    s.broken = SOUND


@kernel
def move(p, s, now):
    """The valve has been moved: idle time starts anew, with a new draw of when it would seize."""
    s.moved_at = now
    s.n_moves += 1
    u = uniform(s.seed, s.history, VALVE_DRAWS, s.n_moves)
    s.seize_after = quantile(p.valve_seize_time, u)
