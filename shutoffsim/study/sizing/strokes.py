"""Closings tried one by one, by the model's own code: torque needed, and how each closing ends."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model import layout as L
from shutoffsim.model.actuator import (
    SHARE,
    available_torque,
    begin_stroke,
    heat,
    slip_capacity,
    stall_current,
    stroke_draw,
    stroke_time,
    time_to_burn,
)
from shutoffsim.model.compiled import allocating_entry, entry, kernel
from shutoffsim.model.power import fresh_energy
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.valve import closing_torque

DELAYS = int(L.BATTERY_EMPTY) + 1  # clocks that a stroke may set


@kernel
def put_at_work(p, s, seed, number, draw, now, idle, strokes):  # type: ignore[no-untyped-def]
    """Set up a state in order at ``now``: valve moved ``idle`` seconds ago, everything works."""
    s.seed = seed
    s.history = number
    s.stroke_draw = draw
    s.born_at = -p.valve_age
    s.moved_at = now - idle
    s.strokes = strokes
    s.supply_ok = 1
    s.battery_ok = 1
    age = now % p.battery_change if p.battery_change < math.inf else now
    s.battery_new_at = now - age
    s.battery_energy = fresh_energy(p, s, now)
    s.battery_draw = p.standby_power
    s.off_mains_at = now


@allocating_entry
def try_strokes(  # type: ignore[no-untyped-def]
    params, valves, at, idle, seize_after, stroke_rate, mains, seed, outcomes, required, available
):
    """Try one closing per valve and demand with each of several actuators.

    Parameters
    ----------
    params : record array (k,)
        Actuators on the same valve, see :data:`shutoffsim.model.layout.PARAMETERS`.
    valves : float array (n, 9)
        As in :class:`shutoffsim.study.sizing.valves.Valves`.
    at, idle, seize_after : float arrays (n, m)
        Time since commissioning, time since the last movement, idle time that seizes, s.
    stroke_rate : float
        Strokes of the actuator per second of its life.
    mains : int
        1: on the supply; 0: on the battery.
    seed : uint64
    outcomes : int8 array (k, n, m)
        Filled with MODE_...
    required : float array (n, m)
        Filled with the torque to close [N*m]; inf when the valve has seized.
    available : float array (k, n, m)
        Filled with the torque [N*m] at stall on this supply.
    """
    k, n, m = outcomes.shape
    designs = params.copy()
    blank = np.zeros(1, L.STATE)
    state = np.zeros(1, L.STATE)
    delay = np.full(DELAYS, L.KEEP)
    for v in range(n):
        for j in range(m):
            now = at[v, j]
            for r in range(k):
                p = designs[r]
                p.idle_growth = valves[v, 2]
                p.closing_share[:] = valves[v, 5:9]
                state[0] = blank[0]
                s = state[0]
                s.mains = mains
                s.breakaway = valves[v, 0]
                s.age_factor = valves[v, 1]
                s.unit = valves[v, 3]
                s.preload = valves[v, 4]
                put_at_work(p, s, seed, np.uint64(v), j, now, idle[v, j], stroke_rate * now)
                s.seize_after = seize_after[v, j]
                if r == 0:
                    required[v, j] = closing_torque(p, s, now, stroke_draw(s, SHARE))
                voltage, resistance = p.battery_voltage, p.battery_resistance
                if mains == 1:
                    voltage, resistance = p.supply_voltage, p.supply_resistance
                available[r, v, j] = available_torque(p, s, voltage, resistance)
                outcome, _lasting = begin_stroke(p, s, now, delay)
                outcomes[r, v, j] = outcome


@allocating_entry
def closing_torques(p, valves, at, idle, seize_after, shares, required):  # type: ignore[no-untyped-def]
    """Fill ``required`` (n, m) with torque to close [N*m]; arrays as in :func:`try_strokes`.

    ``p`` is a record array (1,); ``shares`` (n, m) are the uniforms of the closing share.
    """
    n, m = required.shape
    designs = p.copy()
    state = np.zeros(1, L.STATE)
    for v in range(n):
        d = designs[0]
        d.idle_growth = valves[v, 2]
        d.closing_share[:] = valves[v, 5:9]
        s = state[0]
        s.breakaway = valves[v, 0]
        s.age_factor = valves[v, 1]
        s.born_at = -d.valve_age
        for j in range(m):
            s.moved_at = at[v, j] - idle[v, j]
            s.seize_after = seize_after[v, j]
            required[v, j] = closing_torque(d, s, at[v, j], shares[v, j])


@allocating_entry
def stall_figures(p, unit, strokes, voltage, resistance, torque):  # type: ignore[no-untyped-def]
    """Return what a supply gives: torque, current, rail voltage, and times.

    Parameters
    ----------
    p : record
        Parameters.
    unit : float
        Torque factor of the unit.
    strokes : float
        Strokes it has made.
    voltage, resistance : float
        Of the source, V and ohm.
    torque : float
        Torque needed [N*m] for the closing time.

    Returns
    -------
    available, current, rail, closing, burning : float
        Torque at stall [N*m], current at stall [A], rail voltage at stall [V], time to close
        against ``torque`` [s] (inf: it stalls), time at stall until the winding burns [s].
    """
    state = np.zeros(1, L.STATE)
    s = state[0]
    s.unit = unit
    s.strokes = strokes
    current = stall_current(p, voltage, resistance)
    available = available_torque(p, s, voltage, resistance)
    closing = math.inf
    if 0.0 <= torque <= available and available > 0.0:
        closing = stroke_time(p, torque, available, voltage)
    burning = time_to_burn(p, s, 0.0, current)
    return available, current, voltage - current * resistance, closing, burning


@allocating_entry
def winding_curve(p, current, on, step, temperatures):  # type: ignore[no-untyped-def]
    """Fill ``temperatures`` [degC] of the winding over steps of ``step`` s at stall or at rest.

    ``on`` (steps,) says in which steps the stall current flows.
    """
    state = np.zeros(1, L.STATE)
    s = state[0]
    for i in range(len(on)):
        heat(p, s, i * step, current if on[i] == 1 else 0.0, step)
        temperatures[i] = p.ambient + s.winding


@allocating_entry
def mount_capacity(p, preload, now):  # type: ignore[no-untyped-def]
    """Return the torque [N*m] that the mount holds at ``now`` [s] after it was tightened."""
    state = np.zeros(1, L.STATE)
    s = state[0]
    s.preload = preload
    return slip_capacity(p, s, now)


@entry
def fill_quantiles(distribution, u, values):  # type: ignore[no-untyped-def]
    """Fill ``values`` (n,) with the quantiles at ``u`` (n,) of a distribution of the model."""
    for i in range(len(u)):
        values[i] = quantile(distribution, u[i])
