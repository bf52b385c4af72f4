"""What the commissioning and maintenance sheet needs: intervals, limits, and closing by hand."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from shutoffsim.engine.look import look
from shutoffsim.model import layout as L
from shutoffsim.model import override
from shutoffsim.model.compiled import entry
from shutoffsim.model.elements import NUMBERED
from shutoffsim.study.assessment.torque import service_limits
from shutoffsim.study.assessment.upkeep_parts import Hose, Maintenance, Step

if TYPE_CHECKING:
    from shutoffsim.scenario.schema import System
    from shutoffsim.study.torque import Torque

DAY = 86400.0
_PEOPLE: Final = 2000


@entry
def close_by_hand(p, states, freeing, total, by):  # type: ignore[no-untyped-def]
    """Fill the times [s] that people who stand in the dwelling need at commissioning.

    ``freeing`` (n,) is for freeing the valve, ``total`` (n,) for all until the water is off, and
    ``by`` (n,) tells which valve they shut.
    """
    for i in range(len(states)):
        s = states[i]
        s.leak_key[0] = i
        freeing[i] = override.freeing_time(p, s, 0) * p.override_access
        override.work(p, s, 0.0, 0)
        total[i] = s.leak_hands[0]
        by[i] = s.leak_hands_by[0]


def maintenance(system: System, p: Any, seed: int, torque: tuple[Torque, ...]) -> Maintenance:
    """Return the facts for one design.

    Parameters
    ----------
    system : System
        The design, resolved.
    p : record
        Its parameters.
    seed : int
        0 to 2**64 - 1.
    torque : tuple of Torque
        What its valve needs and its drive gives.
    """
    closes, automated = system.element.traits.closes, system.element.traits.automated
    sensing = automated and any(sensor.fitted for sensor in system.sensors.values())
    battery = automated and system.battery.fitted
    steps, whole = _override(p, seed)
    return Maintenance(
        exercise_days=_days(system.exercise.interval) if closes else None,
        sensor_test_days=_days(system.detection.test_interval) if sensing else None,
        battery_test_days=_days(system.battery.test) if battery else None,
        battery_change_years=_years(system.battery.change) if battery else None,
        hoses=tuple(
            Hose(name, leak.parts, leak.age / L.YEAR, _years(leak.replace_at))
            for name, leak in system.leaks.items()
            if leak.fitted and leak.life is not None
        ),
        limits=service_limits(p, torque),
        override=steps,
        override_total=whole,
    )


def _days(time: float) -> float | None:
    return time / DAY if math.isfinite(time) else None


def _years(time: float) -> float | None:
    return time / L.YEAR if math.isfinite(time) else None


def _override(p: Any, seed: int) -> tuple[tuple[Step, ...], Step]:
    states = look(p, seed, [0.0], [0.0], _PEOPLE).states[0, :, 0]
    freeing, total = np.empty(_PEOPLE), np.empty(_PEOPLE)
    by = np.empty(_PEOPLE, np.int64)
    close_by_hand(p, states, freeing, total, by)
    hand = by == L.BY_HAND
    turning = float(p.valve_turns) * float(p.override_hand_turn) * float(p.override_access)
    steps = []
    if hand.any():
        steps.append(_step("find the valve", (total - freeing - turning)[hand]))
        if NUMBERED[p.element_kind].closes:
            steps.append(_step("free it from its drive", freeing[hand]))
        steps.append(Step("turn it shut", turning, turning))
    upstream = 1.0 - float(hand.mean())
    if upstream > 0.0:
        words = f"where a hand cannot turn it ({upstream:.0%} of cases): all until the next valve "
        steps.append(_step(words + "upstream is shut", total[~hand]))
    return tuple(steps), _step("until the water is off", total)


def _step(what: str, times: NDArray[np.float64]) -> Step:
    median, p90 = np.quantile(times, (0.5, 0.9))
    return Step(what, float(median), float(p90))
