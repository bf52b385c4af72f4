"""Common ground of the sections, and the value types that several of them use."""

from __future__ import annotations

from typing import Annotated, ClassVar, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, Strict

from shutoffsim.scenario.distributions import Distribution
from shutoffsim.scenario.quantities import Money, PresetName, Quantity, Spread

LONGEST_NAME = 80


class Preset(NamedTuple):
    """A field that picks a set of values from the library of defaults."""

    field: str
    library: str


class Section(BaseModel):
    """A table of the scenario file.

    Attributes
    ----------
    preset : Preset or None
        The field that picks a set of defaults, and the library it picks from.
    alternatives : tuple of tuple of str
        Groups of fields of which only one is given: one that is written down displaces the
        others, including those that a default or another design would give.
    shared_defaults : str or None
        Where in the library of defaults to look when the section's own place has no entry.
    """

    model_config = ConfigDict(
        extra="forbid", frozen=True, use_attribute_docstrings=True, allow_inf_nan=True
    )

    preset: ClassVar[Preset | None] = None
    alternatives: ClassVar[tuple[tuple[str, ...], ...]] = ()
    shared_defaults: ClassVar[str | None] = None


Flag = Annotated[bool, Strict()]
Count = Annotated[int, Strict(), Field(ge=1, le=1000)]
CountOrNone = Annotated[int, Strict(), Field(ge=0, le=1000)]

Time = Annotated[float, Quantity("time", low=0)]
PositiveTime = Annotated[float, Quantity("time", above=0)]
TimeOrNever = Annotated[float, Quantity("time", low=0, never=True)]
# Shorter ones would only make a history endless to compute.
IntervalOrNever = Annotated[float, Quantity("time", low=3600.0, never=True)]
LongTimeSpread = Annotated[Distribution, Spread("time", above=0, mean_low=3600.0)]
LongTimeSpreadOrNever = Annotated[Distribution, Spread("time", above=0, mean_low=3600, never=True)]
TimeSpread = Annotated[Distribution, Spread("time", low=0)]
PositiveTimeSpread = Annotated[Distribution, Spread("time", above=0)]
TimeSpreadOrNever = Annotated[Distribution, Spread("time", low=0, never=True)]
PositiveTimeSpreadOrNever = Annotated[Distribution, Spread("time", above=0, never=True)]

Rate = Annotated[float, Quantity("rate", low=0, high=100 / 86400.0)]
ShareRate = Annotated[float, Quantity("share rate", low=0)]
Share = Annotated[float, Quantity("share", low=0, high=1)]
ShareSpread = Annotated[Distribution, Spread("share", low=0, high=1)]
# Greater ones mean "never" or "always".
Factor = Annotated[float, Quantity("factor", low=0, high=1000)]
# On a tiny rate a large one says "only then"; a greater one makes a history endless to compute.
RateFactor = Annotated[float, Quantity("factor", low=0, high=1e9)]
PositiveFactor = Annotated[float, Quantity("factor", above=0, high=10_000)]
SpreadFactor = Annotated[float, Quantity("factor", low=1, high=100)]
FactorSpread = Annotated[Distribution, Spread("factor", above=0)]
AgeFactorSpread = Annotated[
    Distribution, Spread("factor", low=1, why="age never makes a valve easier to turn")
]

Pressure = Annotated[float, Quantity("pressure", above=0)]
PressureSpread = Annotated[Distribution, Spread("pressure", above=0)]
Flow = Annotated[float, Quantity("flow", low=0)]
PositiveFlow = Annotated[float, Quantity("flow", above=0)]
FlowSpread = Annotated[Distribution, Spread("flow", low=0)]
PositiveFlowSpread = Annotated[Distribution, Spread("flow", above=0)]
Volume = Annotated[float, Quantity("volume", low=0)]
PositiveVolume = Annotated[float, Quantity("volume", above=0)]
VolumeSpread = Annotated[Distribution, Spread("volume", low=0)]
Area = Annotated[float, Quantity("area", above=0)]
AreaSpread = Annotated[Distribution, Spread("area", low=0)]
PositiveAreaSpread = Annotated[Distribution, Spread("area", above=0)]
Length = Annotated[float, Quantity("length", low=0)]
PositiveLength = Annotated[float, Quantity("length", above=0)]
PositiveLengthSpread = Annotated[Distribution, Spread("length", above=0)]

Torque = Annotated[float, Quantity("torque", above=0)]
TorqueOrNever = Annotated[float, Quantity("torque", above=0, never=True)]
TorqueSpread = Annotated[Distribution, Spread("torque", above=0)]
Voltage = Annotated[float, Quantity("voltage", low=0)]
PositiveVoltage = Annotated[float, Quantity("voltage", above=0)]
Current = Annotated[float, Quantity("current", low=0)]
PositiveCurrent = Annotated[float, Quantity("current", above=0)]
CurrentOrNever = Annotated[float, Quantity("current", above=0, never=True)]
Resistance = Annotated[float, Quantity("resistance", low=0)]
Power = Annotated[float, Quantity("power", low=0)]
Temperature = Annotated[float, Quantity("temperature", low=-60, high=200)]
WindingTemperature = Annotated[float, Quantity("temperature", low=40, high=400)]
ThermalResistance = Annotated[float, Quantity("thermal resistance", above=0)]
SharePerKelvin = Annotated[float, Quantity("share per kelvin", low=0, high=0.05)]
Turns = Annotated[float, Quantity("turns", above=0, high=100)]
TurnsOrNever = Annotated[float, Quantity("turns", above=0, never=True)]
Speed = Annotated[float, Quantity("speed", above=0)]

Amount = Annotated[float, Money()]
AmountOrNoLimit = Annotated[float, Money(no_limit=True)]
AmountPerArea = Annotated[float, Money(per_area=True)]

LeakKind = Annotated[str, PresetName("leak_kinds")]
SensorKind = Annotated[str, PresetName("sensor_kinds")]
PeoplePattern = Annotated[str, PresetName("patterns")]
Chemistry = Annotated[str, PresetName("chemistries")]
ValveType = Annotated[str, PresetName("valve_types")]
ActuatorClass = Annotated[str, PresetName("actuator_classes")]
MountKind = Annotated[str, PresetName("mount_kinds")]
Grip = Annotated[str, PresetName("grips")]
