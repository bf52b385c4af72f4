"""Torque that is needed and that there is, and what to measure at each exercise.

The torque needed follows from the model's own functions at one moment of many histories: the valve
was last moved a random part of the exercise interval before, or as long before as the scenario says
where nothing moves it. Repairs and renewals are left out.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from shutoffsim.engine.trace import new_state
from shutoffsim.model import actuator, valve
from shutoffsim.model import layout as L
from shutoffsim.model.compiled import entry
from shutoffsim.model.elements import NUMBERED
from shutoffsim.model.history import start
from shutoffsim.study.assessment.result import ServiceLimits, TorqueAt

VALVES: Final = 2000
SERVICE_SHARE: Final = 0.8  # common practice: service when a fifth of the torque is left
_WEAK = 0.05  # share of units that give less


def turns_valve(p: Any) -> bool:
    """Return whether a motor turns a valve in this design."""
    return NUMBERED[p.element].drive == "motor"


@entry
def needed_at(p, states, now, idle, shares, units, needed):  # type: ignore[no-untyped-def]
    """Fill ``needed`` [N*m] and ``units`` (factor on torque) of valves at ``now`` [s].

    ``idle`` (n,) is the time [s] since the last movement, ``shares`` (n,) the uniform number of
    each demand's torque to close; ``states`` (n,) are histories that have begun.
    """
    for i in range(len(states)):
        s = states[i]
        s.moved_at = now - idle[i]
        s.strokes = 0.0
        needed[i] = valve.closing_torque(p, s, now, shares[i])
        units[i] = actuator.unit_factor(p, s)


@entry
def begin_all(p, states, delay):  # type: ignore[no-untyped-def]
    """Commission each history."""
    for i in range(len(states)):
        start(p, states[i], delay)


@entry
def torque_on(p, voltage, resistance):  # type: ignore[no-untyped-def]
    """Return the torque [N*m] of a unit of factor one at stall, and that current [A]."""
    torque = actuator.nominal_torque(p, voltage, resistance)
    return torque, actuator.stall_current(p, voltage, resistance)


def torque_at_ages(p: Any, seed: int) -> tuple[TorqueAt, ...]:
    """Return the torque needed and available at commissioning and at the end of the service life.

    Parameters
    ----------
    p : record
        A design's parameters.
    seed : int
        0 to 2**64 - 1.
    """
    if not turns_valve(p):
        return ()
    return tuple(_torque_at(p, seed, years * L.YEAR) for years in (0.0, float(p.horizon) / L.YEAR))


def _torque_at(p: Any, seed: int, now: float) -> TorqueAt:
    needed, units = draw_torques(p, seed, now)
    turning = np.isfinite(needed)
    on_supply = float(torque_on(p, p.supply_voltage, p.supply_resistance)[0])
    on_battery = None
    if p.battery_fitted == 1:
        on_battery = float(torque_on(p, p.battery_voltage, p.battery_resistance)[0])
    weaker = on_supply if on_battery is None else min(on_supply, on_battery)
    told: list[float | None] = [None, None, None]
    if turning.any():
        told = [float(x) for x in np.quantile(needed[turning], (0.5, 0.95, 0.99))]
    middle, weak = np.quantile(units, (0.5, _WEAK))
    return TorqueAt(
        years=now / L.YEAR,
        needed_median_n_m=told[0],
        needed_p95_n_m=told[1],
        needed_p99_n_m=told[2],
        seized=float(1.0 - turning.mean()),
        available_supply_n_m=on_supply * float(middle),
        available_battery_n_m=None if on_battery is None else on_battery * float(middle),
        available_weak_n_m=weaker * float(weak),
        short=float((needed[turning] > weaker * units[turning]).mean()) if turning.any() else 0.0,
    )


def begun_histories(p: Any, seed: int, n: int) -> Any:
    """Return the states (record array (n,)) of the first histories at commissioning."""
    states = np.repeat(new_state(seed, 0), n).view(np.recarray)
    states["history"] = np.arange(n)
    begin_all(p, states, np.full(L.CLOCKS, L.KEEP))
    return states


def draw_torques(p: Any, seed: int, now: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return torques to close [N*m] (inf: seized) and factors of the units, of many valves."""
    states = begun_histories(p, seed, VALVES)
    spread = (np.arange(VALVES) + 0.5) / VALVES
    generator = np.random.Generator(np.random.Philox(key=[seed, VALVES]))
    interval = float(p.exercise)
    if math.isinf(interval):  # nobody moves it: idle since before commissioning
        idle = np.full(VALVES, float(p.idle_start) + now)
    else:
        idle = generator.permutation(spread) * interval
    needed, units = np.empty(VALVES), np.empty(VALVES)
    needed_at(p, states, now, idle, generator.permutation(spread), units, needed)
    return needed, units


def service_limits(p: Any, seed: int) -> ServiceLimits | None:
    """Return closing time and motor current at first, and the limits for service.

    None where no motor turns the valve, or where it can turn none on this supply.
    """
    if not turns_valve(p):
        return None
    needed, units = draw_torques(p, seed, 0.0)
    available, stall = (float(x) for x in torque_on(p, p.supply_voltage, p.supply_resistance))
    available *= float(np.median(units))
    turned = needed[needed < available]
    if len(turned) == 0:
        return None
    free = float(p.no_load_current)

    def measured(torque: float) -> tuple[float, float]:
        time = actuator.stroke_time(p, torque, available, p.supply_voltage)
        return float(time), free + (stall - free) * torque / available

    at_first = measured(float(np.median(turned)))
    limit = measured(SERVICE_SHARE * available)
    return ServiceLimits(SERVICE_SHARE, *at_first, *limit, stall)
