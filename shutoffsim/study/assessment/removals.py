"""What would change if one failure mode could not happen: the mode is taken out, and run again.

Each removal changes the numbers of a design so that the link cannot break. The runs use the same
leaks, outages and people as the run with it, so small reductions show. Reductions do not add up:
where two links are broken at once, mending one alone may gain nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np

from shutoffsim.engine.placement import Placement
from shutoffsim.engine.run import PROBES, Setup, run_chunks
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.tally import Tally, block_for
from shutoffsim.model import layout as L
from shutoffsim.model.quantiles import FIXED
from shutoffsim.study.assessment.result import Removal

_NEVER = (float(FIXED), math.inf, 0.0, 0.0)
_AMPLE = 1e3  # times the rated torque
_ENDLESS = 1e15  # J
_AT_ONCE = 1e-6
_RECORDS = 12  # run together: the memory of their incidents is bounded


class Change(NamedTuple):
    """How a failure mode is taken out of a design.

    Parameters
    ----------
    how : str
        In words.
    apply : callable
        Changes a parameter record in place.
    remains : str
        Why the mode can occur all the same; empty: it cannot.
    """

    how: str
    apply: Callable[[Any], None]
    remains: str = ""


def _sense_all(p: Any) -> None:
    sensors = range(int(p.n_sensors))
    for k in sensors:
        if p.sensor_meets[k] > 0.0:
            p.sensor_meets[k] = 1.0
    p.source_hidden_path[:] = 0.0
    covered = {int(p.sensor_zone[k]) for k in sensors if p.sensor_meets[k] > 0.0}
    for zone in sorted({int(p.source_zone[i]) for i in range(int(p.n_sources))} - covered):
        _add_sensor(p, zone)


def _add_sensor(p: Any, zone: int) -> None:
    """Put a sensor that cannot fail into a zone that has none."""
    unused = [k for k in range(int(p.n_sensors)) if p.sensor_meets[k] <= 0.0]
    k = unused[0] if unused else int(p.n_sensors)
    if k >= L.MAX_SENSORS:
        return
    p.n_sensors = max(int(p.n_sensors), k + 1)
    p.sensor_zone[k] = zone
    p.sensor_meets[k] = 1.0
    p.sensor_reach_area[k] = (float(FIXED), 1.0, 0.0, 0.0)
    p.sensor_failure_rate[k] = 0.0
    p.sensor_battery_life[k] = _NEVER
    p.sensor_attempt_success[k] = 1.0
    p.sensor_attempts[k] = 1


def _keep_sensors(p: Any) -> None:
    p.sensor_failure_rate[:] = 0.0
    p.sensor_battery_life[:] = _NEVER


def _deliver_all(p: Any) -> None:
    p.sensor_attempt_success[:] = 1.0


def _pass_by_gateway(p: Any) -> None:
    p.sensors_via_gateway = 0
    p.decide_via_gateway = 0


def _keep_controller(p: Any) -> None:
    p.hang_rate = 0.0
    p.restart_time = 0.0


def _keep_on(p: Any) -> None:
    p.switch_off_chance = 0.0


def _power_always(p: Any) -> None:
    p.battery_fitted = 1
    p.battery_energy = _ENDLESS
    p.battery_fade = 0.0
    p.battery_voltage = p.supply_voltage
    p.battery_resistance = p.supply_resistance
    p.battery_life = _NEVER
    p.battery_change = math.inf


def _keep_element(p: Any) -> None:
    p.failure_rate = 0.0
    p.stick_chance = 0.0


def _own_rail(p: Any) -> None:
    p.shares_rail = 0


def _cool_winding(p: Any) -> None:
    p.winding_limit = 1e12


def _strong_gears(p: Any) -> None:
    p.strip_chance = 0.0


def _firm_mount(p: Any) -> None:
    p.slip_torque = math.inf


def _ample_torque(p: Any) -> None:
    p.stall_torque *= _AMPLE
    p.wear = 0.0
    p.cold_torque = 0.0


def _free_valve(p: Any) -> None:
    p.seize_time = _NEVER
    p.stem_limit = math.inf


def _full_travel(p: Any) -> None:
    p.short_chance = 0.0


def _at_once(p: Any) -> None:
    p.sensor_reach_area[:] = (float(FIXED), _AT_ONCE, 0.0, 0.0)
    p.no_load_speed /= _AT_ONCE


CHANGES: Final[Mapping[str, Change]] = {
    "not sensed": Change(
        "the water of every leak meets a sensor; a zone without one gets one that cannot fail",
        _sense_all,
        "a person noticed a slow leak before any sensor was wet, and ordered it shut by telephone",
    ),
    "sensor dead": Change("sensors and their batteries never fail", _keep_sensors),
    "message lost": Change("every radio report arrives at the first attempt", _deliver_all),
    "gateway down": Change(
        "sensors and controller decide without the gateway; messages to people still need it",
        _pass_by_gateway,
    ),
    "controller down": Change(
        "the controller never hangs, and a restart takes no time", _keep_controller
    ),
    "automation switched off": Change("nobody switches it off after a false alarm", _keep_on),
    "no power": Change(
        "a battery that never fails or empties takes over, as strong as the supply", _power_always
    ),
    "actuator failed": Change("the closing element never fails by itself or sticks", _keep_element),
    "brown-out": Change("the controller has a supply of its own", _own_rail),
    "motor burnt": Change("the winding bears any heat", _cool_winding),
    "gears stripped": Change("the gears bear any stall", _strong_gears),
    "mount slipped": Change("the mount holds any torque", _firm_mount),
    "undersized torque": Change(
        f"the actuator gives {_AMPLE:,.0f} times its torque and does not wear", _ample_torque
    ),
    "valve seized": Change("the valve never seizes and its stem bears any torque", _free_valve),
    "closed short": Change("the travel always ends at the shut valve", _full_travel),
    "late": Change(
        "sensors are wet at once and the motor takes no time",
        _at_once,
        "a flow rule, repeated reports and further attempts stay as slow as they are, and water "
        "stored above the leak still runs out",
    ),
}

NOT_REMOVABLE: Final[Mapping[str, str]] = {
    "no automation": "nothing closes by itself in this design; compare it with one that does",
}


def run_removals(
    params: Any,
    modes: Sequence[Sequence[str]],
    placement: Placement,
    seed: int,
    histories: int,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> list[tuple[Removal, ...]]:
    """Return what removing each of its failure modes would be worth, for each design.

    Parameters
    ----------
    params : record array (k,)
        Designs.
    modes : sequence (k,) of sequences of str
        Which modes to remove from each; those without a change are left out.
    placement : Placement
        That of the run with the modes.
    seed, histories, workers : int
    progress : callable, optional
        Called as ``progress(histories done, histories planned)``.
    """
    wanted = [[mode for mode in each if mode in CHANGES] for each in modes]
    planned = sum(len(each) + 1 for each in wanted if each) * histories
    done = 0
    found: list[tuple[Removal, ...]] = []
    for d, each in enumerate(wanted):
        removals: list[Removal] = []
        for first in range(0, len(each), _RECORDS):
            part = each[first : first + _RECORDS]
            records = np.repeat(params[d : d + 1], len(part) + 1)
            for record, mode in zip(records[1:], part, strict=True):
                CHANGES[mode].apply(record)
            tally = Tally(len(records), float(params["horizon"][d]) / L.YEAR, block_for(histories))
            setup = Setup(records, seed, "batch", PROBES, placement)
            for chunk in run_chunks(setup, 0, histories, workers):
                tally.add(chunk)
                done += chunk.rows.shape[1] * len(records)
                if progress is not None:
                    progress(min(done, planned), planned)
            removals += [_removal(mode, tally, at) for at, mode in enumerate(part, start=1)]
        found.append(tuple(sorted(removals, key=lambda r: -r.reduction.value)))
    return found


def _removal(mode: str, tally: Tally, at: int) -> Removal:
    figure = T.FIRST_MODE + L.MODES.index(mode)
    gain = tally.difference(0, T.LOSS, at)
    before, after = tally.share(0, figure), tally.share(at, figure)
    change = CHANGES[mode]
    remains = change.remains if after.value > 0.0 else ""
    return Removal(mode, change.how, gain, before, after, remains)
