"""Closings tried one by one, by the model's own code: torque needed, and how each closing ends."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model import layout as L
from shutoffsim.model.actuator import (
    SHARE,
    begin_stroke,
    stroke_draw,
)
from shutoffsim.model.compiled import allocating_entry, kernel
from shutoffsim.model.motor import available_torque, heat
from shutoffsim.model.mount import slip_capacity
from shutoffsim.model.power import fresh_energy
from shutoffsim.model.reopening import turns_open
from shutoffsim.model.valve import closing_torque, opening_torque

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
    s.battery_draw = p.controller_standby_power
    s.off_mains_at = now


@allocating_entry
def try_strokes(  # type: ignore[no-untyped-def]
    params,
    valves,
    at,
    idle,
    seize_after,
    strokes,
    mains,
    seed,
    outcomes,
    required,
    available,
    opening,
    stuck,
):
    """Try one closing per valve and demand with each of several actuators.

    Parameters
    ----------
    params : record array (k,)
        Actuators on the same valve, see :data:`shutoffsim.model.layout.PARAMETERS`.
    valves : float array (n, 9)
        As in :class:`shutoffsim.study.valves.Valves`.
    at, idle, seize_after : float arrays (n, m)
        Time since commissioning, time since the last movement, idle time that seizes, s.
    strokes : float array (n, m)
        That the actuator has made.
    mains : int
        1: on the supply; 0: on the battery.
    seed : uint64
    outcomes : int8 array (k, n, m)
        Filled with MODE_...
    required : float array (n, m)
        Filled with the torque to close [N*m]; inf when the valve has seized.
    available : float array (k, n, m)
        Filled with the torque [N*m] at stall on this supply.
    opening : float array (n, m)
        Filled with the torque [N*m] to open the valve again that has just been shut.
    stuck : int8 array (k, n, m)
        Filled with 1 where the valve was shut and cannot be opened again.
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
                p.valve_idle_growth = valves[v, 2]
                p.valve_closing_share[:] = valves[v, 5:9]
                state[0] = blank[0]
                s = state[0]
                s.mains = mains
                s.breakaway = valves[v, 0]
                s.age_factor = valves[v, 1]
                s.unit = valves[v, 3]
                s.creep = valves[v, 4]
                put_at_work(p, s, seed, np.uint64(v), j, now, idle[v, j], strokes[v, j])
                s.seize_after = seize_after[v, j]
                if r == 0:
                    required[v, j] = closing_torque(p, s, now, stroke_draw(s, SHARE))
                voltage, resistance = p.battery_voltage, p.battery_resistance
                if mains == 1:
                    voltage, resistance = p.supply_voltage, p.supply_resistance
                available[r, v, j] = available_torque(p, s, now, voltage, resistance)
                outcome, _lasting = begin_stroke(p, s, now, delay)
                outcomes[r, v, j] = outcome
                s.moved_at = now
                if r == 0:
                    opening[v, j] = opening_torque(p, s, now)
                if outcome == L.MODE_NONE and not turns_open(p, s, now, voltage, resistance):
                    stuck[r, v, j] = 1


@allocating_entry
def winding_curve(p, current, on, step, temperatures):  # type: ignore[no-untyped-def]
    """Fill ``temperatures`` [degC] of the winding over steps of ``step`` s at stall or at rest.

    ``on`` (steps,) says in which steps the stall current flows.
    """
    state = np.zeros(1, L.STATE)
    s = state[0]
    for i in range(len(on)):
        heat(p, s, i * step, current if on[i] == 1 else 0.0, step)
        temperatures[i] = p.actuator_ambient + s.winding


@allocating_entry
def mount_capacity(p, creep, now):  # type: ignore[no-untyped-def]
    """Return the torque [N*m] that the mount holds at ``now`` [s] after it was tightened."""
    state = np.zeros(1, L.STATE)
    s = state[0]
    s.creep = creep
    return slip_capacity(p, s, now)
