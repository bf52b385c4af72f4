"""Torque that is needed and that there is, and what to measure at each exercise."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

from shutoffsim.model.elements import NUMBERED
from shutoffsim.model.quantiles import quantile
from shutoffsim.study.assessment.upkeep_parts import ServiceLimits, TorqueAt
from shutoffsim.study.torque import Torque, source_of, stall_figures, torque_over_years

SERVICE_SHARE: Final = 0.8  # common practice: service when a fifth of the torque is left


def turns_valve(p: Any) -> bool:
    """Return whether a motor turns a valve in this design."""
    return NUMBERED[p.element_kind].drive == "motor"


def torque_of(p: Any, seed: int) -> tuple[Torque, ...]:
    """Return the torque needed and available over the years; none where no motor turns a valve.

    Parameters
    ----------
    p : record
        A design's parameters.
    seed : int
        0 to 2**64 - 1.
    """
    if not turns_valve(p):
        return ()
    return torque_over_years(np.array(p, ndmin=1).view(np.recarray), seed)


def torque_at_ages(found: tuple[Torque, ...]) -> tuple[TorqueAt, ...]:
    """Return the torque at commissioning and at the end of the service life, as pages report it."""
    return tuple(_told(row) for row in (found[0], found[-1])) if found else ()


def _told(row: Torque) -> TorqueAt:
    median, p95, p99 = (None if math.isnan(x) else x for x in row.needed)
    return TorqueAt(
        years=row.years,
        needed_median_n_m=median,
        needed_p95_n_m=p95,
        needed_p99_n_m=p99,
        seized=row.seized,
        available_supply_n_m=row.supply,
        available_battery_n_m=row.battery,
        available_weak_n_m=row.weak,
        short=row.short,
    )


def service_limits(p: Any, found: tuple[Torque, ...]) -> ServiceLimits | None:
    """Return closing time and motor current at first, and the limits for service.

    None where no motor turns the valve, or where it can turn none on this supply.

    Parameters
    ----------
    p : record
        A design's parameters.
    found : tuple of Torque
        Of :func:`torque_of`.
    """
    if not found or math.isnan(found[0].turned):
        return None
    supply, free = found[0].supply, float(p.actuator_no_load_current)
    unit = quantile(p.actuator_unit_spread, 0.5)

    def measured(torque: float) -> tuple[float, float, float]:
        given = stall_figures(p, unit, 0.0, *source_of(p), torque)
        stall, time = float(given[1]), float(given[3])
        return time, free + (stall - free) * torque / supply, stall

    first_time, first_current, stall = measured(found[0].turned)
    time, current, _ = measured(SERVICE_SHARE * supply)
    return ServiceLimits(SERVICE_SHARE, first_time, first_current, time, current, stall)
