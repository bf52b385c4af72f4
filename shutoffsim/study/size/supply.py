"""What the actuator gives on its real supply, on good days and bad ones."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shutoffsim.model.quantiles import quantile
from shutoffsim.study.size.strokes import winding_curve
from shutoffsim.study.torque import source_of, stall_figures

SAG = 0.9
CABLE = 0.7  # ohm
LIMIT = 2.0 / 3.0
FULL, LOW, LOW_RESISTANCE = 1.1, 0.85, 2.0
COLD, HOT = 0.0, 40.0  # degC

#: What a bad day is made of, with where each figure comes from.
SOURCES = {
    "mains 10 % low": "EN 50160 keeps 95 % of ten-minute means within 10 % of nominal (from "
    "memory); that the supply passes it on is an assumption: a regulated one does not",
    "10 m of thin cable": "0.7 ohm: two copper wires of 10 m and 0.5 mm2 at 0.0175 ohm mm2/m "
    "(from memory)",
    "current limited": "a driver that allows two thirds of the stall current (assumption)",
    "battery full": "a tenth above the voltage in the file (assumption)",
    "battery low": "nearly empty: 15 % below the voltage in the file, twice the inner resistance "
    "(assumption)",
    "cold, 0 degC": "an unheated cellar (assumption)",
    "hot, 40 degC": "beside a boiler (assumption)",
    "worn": "after the strokes of a service life",
    "bad day": "mains 10 % low or, when fitted and weaker, the battery low; 0 degC; "
    "worn (assumption)",
}


@dataclass(frozen=True)
class Condition:
    """What the actuator gives under one condition.

    Attributes
    ----------
    name, source : str
    torque : float
        At stall, N*m, a unit in the middle of the spread.
    current, rail : float
        At stall: A, V.
    brown_out : bool
        The controller resets when it stalls.
    closing, closing_stiff : float
        Time [s] to close against the torques that half and 95 % of the demands need; inf: it
        stalls.
    burning : float
        Time [s] at stall until the winding burns, from cold; inf: it never does.
    margin : float
        ``burning`` less the time after which the controller cuts off, s; negative: it burns.
    """

    name: str
    source: str
    torque: float
    current: float
    rail: float
    brown_out: bool
    closing: float
    closing_stiff: float
    burning: float
    margin: float


@dataclass(frozen=True)
class StallCurve:
    """The winding through the attempts of one demand on a valve that does not move.

    Attributes
    ----------
    seconds, supply, raised : float arrays
        Time; winding temperature [degC] on the supply, and at a fifth more voltage.
    limit : float
        Temperature at which the winding burns.
    torques, closing, closing_worst : float arrays
        Torque against which it closes [N*m], and the time [s] that takes on the supply and on a
        bad day; nan where it stalls.
    """

    seconds: NDArray[np.float64]
    supply: NDArray[np.float64]
    raised: NDArray[np.float64]
    limit: float
    torques: NDArray[np.float64]
    closing: NDArray[np.float64]
    closing_worst: NDArray[np.float64]


RAISED = 1.2
_STEP = 0.1  # s
_TORQUES = 60


def share_on_battery(p: Any) -> float:
    """Return the long-run share of time on battery: outages, as far as the battery lasts."""
    if p.battery_fitted != 1:
        return 0.0
    lasts = (
        p.battery_energy / p.controller_standby_power
        if p.controller_standby_power > 0.0
        else math.inf
    )
    u = (np.arange(200) + 0.5) / 200.0
    parts = (
        (p.mains_dip_rate, p.mains_dip_duration),
        (p.mains_outage_rate, p.mains_outage_duration),
        (p.mains_major_rate, p.mains_major_duration),
        (p.supply_failure_rate, p.supply_repair),
    )
    share = sum(
        rate * float(np.mean([min(quantile(length, x), lasts) for x in u]))
        for rate, length in parts
    )
    return min(share, 1.0)


Change = Mapping[str, Callable[[Any], Any]]  # of parameters, by name

AS_STATED: Change = {}
SAGGED: Change = {"supply_voltage": lambda volts: volts * SAG}
EMPTY: Change = {
    "battery_voltage": lambda volts: volts * LOW,
    "battery_resistance": lambda ohms: ohms * LOW_RESISTANCE,
}
CHILLED: Change = {"actuator_ambient": lambda _: COLD}
BAD_DAY: Change = {**SAGGED, **EMPTY, **CHILLED}  # wear is left to age


def alter(params: Any, change: Change = BAD_DAY) -> Any:
    """Return changed parameters (k,); by default those of a bad day."""
    params = params.copy()
    for name, new in change.items():
        params[name] = new(params[name])
    return params


def conditions(params: Any, usual: float, stiff: float, worn: float) -> tuple[Condition, ...]:
    """Return what an actuator gives under each condition.

    Parameters
    ----------
    params : record array (1,)
        The design.
    usual, stiff : float
        Torques [N*m] against which the closing times hold.
    worn : float
        Strokes that a worn actuator has made.
    """
    p = params[0]
    limit = LIMIT * p.actuator_stall_current
    rows: list[tuple[str, Change, float, bool]] = [
        ("supply as stated", AS_STATED, 0.0, True),
        ("mains 10 % low", SAGGED, 0.0, True),
        ("10 m of thin cable", {"supply_resistance": lambda ohms: ohms + CABLE}, 0.0, True),
        ("current limited", {"actuator_current_limit": lambda a: np.minimum(a, limit)}, 0.0, True),
        ("cold, 0 degC", CHILLED, 0.0, True),
        ("hot, 40 degC", {"actuator_ambient": lambda _: HOT}, 0.0, True),
        ("worn", AS_STATED, worn, True),
    ]
    if p.battery_fitted == 1:
        rows[1:1] = [
            ("battery as stated", AS_STATED, 0.0, False),
            ("battery full", {"battery_voltage": lambda volts: volts * FULL}, 0.0, False),
            ("battery low", EMPTY, 0.0, False),
        ]
    found = [_condition(params, (usual, stiff), *row) for row in rows]
    mains = _weaker(params) if p.battery_fitted == 1 else True
    worst = _condition(params, (usual, stiff), "bad day", BAD_DAY, worn, mains)
    return (*found, worst)


def _weaker(params: Any) -> bool:
    """Return whether the supply, not the battery, is the weaker one on a bad day."""
    supply, battery = (
        _condition(params, (0.0, 0.0), "bad day", BAD_DAY, 0.0, m) for m in (True, False)
    )
    return supply.torque <= battery.torque


def _condition(
    params: Any,
    torques: tuple[float, float],
    name: str,
    change: Change,
    strokes: float,
    mains: bool,
) -> Condition:
    q = alter(params, change)[0]
    unit = quantile(q.actuator_unit_spread, 0.5)
    voltage, resistance = source_of(q, mains)
    (given, current, rail, usual, burning), (_g, _c, _r, stiff, _b) = (
        stall_figures(q, unit, strokes, voltage, resistance, torque) for torque in torques
    )
    return Condition(
        name=name,
        source=SOURCES.get(name, "the scenario"),
        torque=given,
        current=current,
        rail=rail,
        brown_out=bool(q.controller_shares_rail == 1 and rail < q.controller_brown_out),
        closing=usual,
        closing_stiff=stiff,
        burning=burning,
        margin=burning - float(q.actuator_stall_cutoff),
    )


def stall_curve(params: Any, worn: float) -> StallCurve:
    """Return the winding's temperature through all attempts of one demand on a stuck valve.

    ``worn`` is how many strokes an actuator has made at the end of its life.
    """
    p = params[0]
    cutoff = min(float(p.actuator_stall_cutoff), 60.0)
    attempts = int(p.actuator_retries) + 1
    length = attempts * cutoff + int(p.actuator_retries) * float(p.actuator_retry_pause) + 10.0
    seconds = np.arange(0.0, length, _STEP)
    within = np.fmod(seconds, cutoff + float(p.actuator_retry_pause))
    number = seconds // (cutoff + float(p.actuator_retry_pause))
    on = ((within < cutoff) & (number < attempts)).astype(np.int64)
    voltage, resistance = source_of(p)
    curves = []
    for factor in (1.0, RAISED):
        given = stall_figures(p, 1.0, 0.0, voltage * factor, resistance, 0.0)
        temperatures = np.zeros(len(seconds))
        winding_curve(p, given[1], on, _STEP, temperatures)
        curves.append(temperatures)
    unit = quantile(p.actuator_unit_spread, 0.5)
    most = stall_figures(p, unit, 0.0, voltage, resistance, 0.0)[0]
    torques = np.linspace(0.0, 0.99 * most, _TORQUES)
    times = []
    mains = _weaker(params) if p.battery_fitted == 1 else True
    for q, strokes, source in ((p, 0.0, True), (alter(params)[0], worn, mains)):
        v, r = source_of(q, source)
        found = [stall_figures(q, unit, strokes, v, r, torque)[3] for torque in torques]
        times.append(np.where(np.isfinite(found), found, np.nan))
    limit = float(p.actuator_winding_limit)
    return StallCurve(seconds + _STEP, curves[0], curves[1], limit, torques, *times)
