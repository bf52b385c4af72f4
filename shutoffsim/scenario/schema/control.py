"""Controller, gateway, policies and power."""

from __future__ import annotations

from typing import Annotated, ClassVar

from shutoffsim.scenario.quantities import BatteryCapacity, Capacity
from shutoffsim.scenario.schema import base
from shutoffsim.scenario.schema.base import Preset, Section


class Controller(Section):
    """The box that decides."""

    hang_rate: base.Rate
    """How often it hangs."""
    watchdog: base.Flag
    """Whether a watchdog restarts it."""
    restart_time: base.Time
    """Time to restart."""
    hang_notice: base.TimeSpread
    """Time until a hung controller is noticed, without watchdog."""
    decides_via_gateway: base.Flag
    """Whether the decision to close is taken beyond the gateway."""
    standby_power: base.Power
    """Draw of controller and sensors' receiver."""
    shares_rail: base.Flag
    """Whether controller and motor share one supply rail."""
    brown_out: base.Voltage
    """Rail voltage below which the controller resets."""


class Gateway(Section):
    """The gateway and the line to the outside."""

    fitted: base.Flag
    """Whether there is one."""
    availability: base.Share
    """Long-run share of time that gateway and line work, mains present."""
    outage: base.PositiveTime
    """Mean length of one of its outages."""
    backed_up: base.Flag
    """Whether it keeps running through mains outages."""


class Policies(Section):
    """When the valve shuts other than on a leak alarm."""

    remote_command: base.Flag
    """Whether a person who is phoned or messaged can order the valve shut."""
    away_mode: base.Share
    """Chance per trip that away mode gets set (1: automatic)."""
    close_when_away: base.Flag
    """Whether the valve shuts when away mode is set."""
    close_on_power_loss: base.Flag
    """Whether the valve shuts on power loss, on battery."""
    power_loss_wait: base.Time
    """Wait before that closing."""
    escalate: base.Flag
    """Whether a closing that is not confirmed raises siren and message."""


class Mains(Section):
    """Outages of the public supply."""

    outage_rate: base.Rate
    """Ordinary outages."""
    outage_duration: base.PositiveTimeSpread
    """Their duration."""
    major_rate: base.Rate
    """Major outages."""
    major_duration: base.PositiveTimeSpread
    """Their duration."""
    dip_rate: base.Rate
    """Momentary interruptions."""
    dip_duration: base.PositiveTimeSpread
    """Their duration."""
    spell_factor: base.RateFactor
    """Outage rate multiplier during a severe spell."""
    breaker_chance: base.Share
    """Chance that a leak trips the earth-leakage breaker before all else, once it has spread."""
    breaker_area: base.PositiveAreaSpread
    """Wet area from which it does; drawn per leak."""


class Supply(Section):
    """The power supply that feeds controller and motor from the mains."""

    voltage: base.PositiveVoltage
    """Output voltage."""
    resistance: base.Resistance
    """Inner resistance with its cable."""
    failure_rate: base.Rate
    """Failures of the supply."""
    repair: base.TimeSpread
    """Time to notice and replace it."""


class Battery(Section):
    """The battery behind the power supply."""

    preset: ClassVar[Preset | None] = Preset("chemistry", "chemistries")

    fitted: base.Flag
    """Whether there is one."""
    chemistry: base.Chemistry
    """Chemistry, which gives fade, life, resistance and usable share unless they are stated."""
    capacity: Annotated[Capacity, BatteryCapacity()]
    """Rated content when new, in Wh or in Ah."""
    usable: base.Share
    """Share of it that can be used."""
    voltage: base.PositiveVoltage
    """Voltage under light load."""
    resistance: base.Resistance
    """Inner resistance with its cable."""
    fade: base.ShareRate
    """Share of the content lost with age."""
    life: base.LongTimeSpread
    """Time to a dormant failure."""
    change: base.IntervalOrNever
    """Replacement interval."""
    test: base.IntervalOrNever
    """Interval of a self-test that finds a failed battery."""
