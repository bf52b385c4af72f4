"""Torque that a valve needs and that its actuator gives, after some years in use.

The one answer for all pages: valves as they are drawn or believed, at the rests that histories
show, by the model's own functions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from shutoffsim.model import layout as L
from shutoffsim.model.compiled import allocating_entry
from shutoffsim.model.motor import (
    available_torque,
    share_left,
    stall_current,
    stroke_time,
    time_to_burn,
)
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.valve import torque_to_open
from shutoffsim.study.use import Use, uses
from shutoffsim.study.valves import SHARE as CLOSING_SHARE
from shutoffsim.study.valves import UNIT, Valves, draw_valves, quantiles_of

if TYPE_CHECKING:
    from shutoffsim.study.fit_torque.belief import Belief

Array = NDArray[np.float64]

SHARES = (0.5, 0.95, 0.99)
WEAK = 0.05  # share of units that give less
VALVES, _DEMANDS = 2048, 16  # valves, and demands on each


@dataclass(frozen=True)
class Torque:
    """Torque needed and available after some years.

    Attributes
    ----------
    years : float
        Since commissioning.
    needed : tuple of float
        Torque to close [N*m] that 50, 95 and 99 % of the demands do not exceed, seized valves left
        out; nan: all have seized.
    makeup : tuple of float
        What the second of them is made of, N*m: a typical new valve at a typical demand, and what
        spread, age and rest add, in this order.
    seized : float
        Share of demands that meet a seized valve.
    strokes : float
        That an actuator in the middle has made.
    supply, battery : float or None
        Torque at stall [N*m] of the middle unit on the supply, and on the battery if there is one.
    weak : float
        Of a unit that one in twenty falls short of, on the weaker of both.
    turned : float
        Torque in the middle of the demands that the middle unit closes on the supply, N*m; nan:
        it closes none.
    short : float
        Share of demands on valves that have not seized that need more than their own unit gives on
        the weaker of both.
    """

    years: float
    needed: tuple[float, ...]
    makeup: tuple[float, ...]
    seized: float
    strokes: float
    supply: float
    battery: float | None
    weak: float
    turned: float
    short: float


def torque_over_years(params: Any, seed: int, belief: Belief | None = None) -> tuple[Torque, ...]:
    """Return torque needed and available at :func:`shutoffsim.study.use.years_of`.

    Parameters
    ----------
    params : record array (1,)
        A design in which a motor turns a valve.
    seed : int
        0 to 2**64 - 1.
    belief : optional
        What is believed of the valve, in place of what ``params`` say.
    """
    valves = draw_valves(params[0], VALVES, seed, belief)
    return tuple(_torque(params[0], use, valves, seed) for use in uses(params, seed))


def _torque(p: Any, use: Use, valves: Valves, seed: int) -> Torque:
    rng = np.random.default_rng([seed, 2])
    u = (np.arange(_DEMANDS) + rng.random((valves.n, _DEMANDS))) / _DEMANDS
    share = quantiles_of(valves.table[:, CLOSING_SHARE], rng.permuted(u, axis=1))
    new, factor, c, unit = (valves.table[:, k : k + 1] for k in (0, 1, 2, UNIT))
    some = len(use.rest) > 0
    met = rng.permuted(np.resize(np.arange(len(use.rest)), u.size)).reshape(u.shape) if some else u

    def closing(first: Any, growth: Any, age: Any, rest: Any) -> Array:
        opening = torque_to_open(
            first, growth, age, p.valve_age_reference, c, rest, p.valve_idle_cap
        )
        return np.asarray(opening * share)

    if some:
        ages, rests, strokes = use.age[met], use.rest[met], use.strokes[met]
        steps = [
            quantile_of(closing(np.median(new), 1.0, 0.0, 0.0), 0.5),
            quantile_of(closing(new, 1.0, 0.0, 0.0), 0.95),
            quantile_of(closing(new, factor, ages, 0.0), 0.95),
        ]
        needed = closing(new, factor, ages, rests)
    else:
        steps, needed, strokes = [math.nan] * 3, np.empty(0), np.empty(0)
    middle = quantile_of(strokes, 0.5) if some else 0.0
    supply = available(p, 0.5, middle)
    battery = available(p, 0.5, middle, mains=False) if p.battery_fitted == 1 else None
    mains = battery is None or supply <= battery
    given = (
        unit
        * share_left(strokes, p.actuator_wear, p.actuator_ambient, p.actuator_temperature_derating)
        if some
        else needed
    )
    given = given * nominal(p, mains=mains)
    return Torque(
        years=use.years,
        needed=tuple(quantile_of(needed, x) for x in SHARES),
        makeup=(steps[0], *(float(x) for x in np.diff([*steps, quantile_of(needed, 0.95)]))),
        seized=use.seized,
        strokes=middle,
        supply=supply,
        battery=battery,
        weak=available(p, WEAK, middle, mains=mains),
        turned=quantile_of(needed[needed < supply], 0.5),
        short=float(np.mean(needed > given)) if some else 0.0,
    )


def source_of(p: Any, mains: bool = True) -> tuple[float, float]:
    """Return voltage [V] and resistance [ohm] of the supply, or of the battery."""
    if mains:
        return float(p.supply_voltage), float(p.supply_resistance)
    return float(p.battery_voltage), float(p.battery_resistance)


def available(p: Any, units: float, strokes: float, *, mains: bool = True) -> float:
    """Return the torque [N*m] at stall of a unit; a share ``units`` of all gives less."""
    unit = quantile(p.actuator_unit_spread, units)
    return float(stall_figures(p, unit, strokes, *source_of(p, mains), 0.0)[0])


def nominal(p: Any, *, mains: bool = True) -> float:
    """Return the torque [N*m] at stall of a new unit of factor one at 20 degC."""
    left = float(
        share_left(0.0, p.actuator_wear, p.actuator_ambient, p.actuator_temperature_derating)
    )
    given = float(stall_figures(p, 1.0, 0.0, *source_of(p, mains), 0.0)[0])
    return given / left if left > 0.0 else 0.0


def quantile_of(values: Array, share: float) -> float:
    """Return a quantile; nan of nothing."""
    return float(np.quantile(values, share)) if values.size else math.nan


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
    current = stall_current(p, s, voltage, resistance)
    available = available_torque(p, s, 0.0, voltage, resistance)
    closing = math.inf
    if 0.0 <= torque <= available and available > 0.0:
        closing = stroke_time(p, s, torque, available, voltage)
    burning = time_to_burn(p, s, 0.0, current)
    return available, current, voltage - current * resistance, closing, burning
