"""Water hammer of a design: how fast it closes, and what that does to the pressure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from shutoffsim.model.surge import pressure_rise, wave_speed
from shutoffsim.scenario.pipes import density, full_bore_flow

if TYPE_CHECKING:
    from shutoffsim.scenario.schema import System

#: Time [s] in which the coil's spring shuts a solenoid valve: 0.02 to 0.1 s, assumption.
SOLENOID_TIME = 0.05


@dataclass(frozen=True)
class Surge:
    """What happens when a design shuts the valve on the full flow.

    Attributes
    ----------
    closing_time_s : float
        Of a drive that turns freely, the fastest that it closes.
    rise_bar, peak_bar : float
        By how much the pressure rises, and to what, from the mean static pressure.
    limit_bar : float
        What the installation may bear, as stated.
    """

    closing_time_s: float
    rise_bar: float
    peak_bar: float
    limit_bar: float

    @property
    def passes(self) -> bool:
        """Whether the peak stays below the limit."""
        return self.peak_bar <= self.limit_bar


def surge_of(system: System) -> Surge | None:
    """Return the surge of a design; None: nothing in it closes by itself."""
    time = closing_time(system)
    if time is None:
        return None
    pipe, dwelling = system.surge, system.dwelling
    rho = density(dwelling.water_temperature)
    pressure = dwelling.pressure.mean
    flow = dwelling.full_bore_flow
    if flow is None:
        assert dwelling.supply_pipe is not None
        flow = full_bore_flow(dwelling.supply_pipe, pressure, dwelling.water_temperature)
    else:
        flow *= math.sqrt(pressure / dwelling.full_bore_pressure)
    velocity = flow / (math.pi / 4.0 * pipe.bore**2)
    speed = wave_speed(pipe.bore, pipe.wall, pipe.modulus, rho)
    share = 1.0 if system.element.traits.drive == "coil" else pipe.throttling
    rise = float(pressure_rise(pipe.length, velocity, share * time, speed, rho))
    return Surge(time, rise / 1e5, (pressure + rise) / 1e5, pipe.limit / 1e5)


def closing_time(system: System) -> float | None:
    """Return the time [s] in which a design shuts the valve unhindered; None: it does not."""
    traits = system.element.traits
    if not traits.closes:
        return None
    if traits.drive == "coil":
        return SOLENOID_TIME
    own = traits.own_valve
    drive = system.motorised_valve.drive if own else system.actuator
    turns = (system.motorised_valve.valve if own else system.valve).turns
    speed = drive.no_load_speed * system.supply.voltage / drive.rated_voltage
    return float(turns / speed)
