"""Spot sensors, the flow rule, and their false alarms."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import Field, Strict

from shutoffsim.scenario.schema import base
from shutoffsim.scenario.schema.base import Preset, Section

Votes = Annotated[int, Strict(), Field(ge=1, le=12)]
Repeats = Annotated[int, Strict(), Field(ge=0, le=100)]


class Sensor(Section):
    """A spot sensor for water on the floor."""

    preset: ClassVar[Preset | None] = Preset("kind", "sensor_kinds")
    shared_defaults: ClassVar[str | None] = "sensor"

    kind: base.SensorKind
    """Kind of sensor, which gives battery, radio and failure values unless they are stated."""
    zone: str
    """Name of its zone; may be left out when there is only one."""
    reach_chance: base.Share
    """Chance that the water's path meets the sensor."""
    reach_area: base.PositiveAreaSpread
    """Area wetted before the water reaches the sensor."""
    failure_rate: base.Rate
    """Dormant failures, all causes but the battery."""
    battery_life: base.LongTimeSpreadOrNever
    """Life of the sensor's battery; never: it has none."""
    supervised: base.Flag
    """Whether missing reports are noticed and the sensor is then replaced."""
    attempt_success: base.Share
    """Chance that one radio attempt arrives."""
    attempts: base.Count
    """Radio attempts per report."""
    fitted: base.Flag
    """False: there is no such sensor in this design."""


class Detection(Section):
    """What all spot sensors share."""

    votes: Votes
    """Sensors that must report before the controller acts."""
    common_cause: base.Share
    """Share of sensor failures that hit all sensors at once (beta factor)."""
    test_interval: base.IntervalOrNever
    """Interval of the sensors' proof tests, done by hand with water."""
    replacement: base.TimeSpread
    """Time until a sensor known to be dead is replaced."""
    report_repeats: Repeats
    """Further reports that a wet sensor sends when one did not get through."""
    report_interval: base.PositiveTime
    """Time between these reports."""
    via_gateway: base.Flag
    """Whether sensor reports pass the gateway."""


class FlowRule(Section):
    """A rule on the water meter's pulses."""

    fitted: base.Flag
    """Whether the rule is in use."""
    pulse_volume: base.PositiveVolume
    """Water per pulse."""
    starting_flow: base.Flow
    """Flow at which the meter starts."""
    flow: base.Flow
    """Flow above which the rule counts."""
    time: base.PositiveTime
    """Alarm when such flow lasts longer."""
    volume: base.PositiveVolume
    """Alarm when one use takes more."""
    time_away: base.PositiveTime
    """The same in away mode."""
    volume_away: base.PositiveVolume
    """The same in away mode."""
    failure_rate: base.Rate
    """Failures of pickup, cable and counting."""
    supervised: base.Flag
    """Whether pulses that stay away while people are there are noticed."""
    silence: base.PositiveTime
    """Time without pulses after which they are."""


class PressureTest(Section):
    """The valve is shut for a while at night; pressure that falls too fast is a leak."""

    fitted: base.Flag
    """Whether it is done; it needs a pressure sensor behind the valve."""
    interval: base.IntervalOrNever
    """Time between tests; the first is at three in the first night."""
    hold: base.PositiveTime
    """Time for which the valve is shut."""
    least_flow: base.PositiveFlow
    """Least loss of water that lets the pressure fall faster than the limit."""
    disturbed: base.Share
    """Chance that people at home draw water meanwhile, so that it says nothing."""


class Nuisance(Section):
    """False alarms, and what people do about them."""

    rate_per_sensor: base.Rate
    """False alarms of one spot sensor."""
    rule_rate: base.Rate
    """Ordinary uses of water that trip the flow rule."""
    switch_off_chance: base.Share
    """Chance that people switch the automation off after one."""
    switch_off_time: base.PositiveTimeSpread
    """How long it then stays off."""
