"""The valve, what closes it, and how that is mounted."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import Field, Strict

from shutoffsim.model import elements
from shutoffsim.scenario.schema import base
from shutoffsim.scenario.schema.base import Preset, Section

Retries = Annotated[int, Strict(), Field(ge=0, le=20)]
Fasteners = Annotated[int, Strict(), Field(ge=0, le=40)]


class Valve(Section):
    """A stop valve."""

    preset: ClassVar[Preset | None] = Preset("type", "valve_types")
    shared_defaults: ClassVar[str | None] = "valve"

    type: base.ValveType
    """Type, which gives torque, turns and seat unless they are stated."""
    breakaway: base.TorqueSpread
    """Breakaway torque when new; drawn once a history."""
    age: base.Time
    """Age of the valve at commissioning."""
    age_factor: base.AgeFactorSpread
    """Torque factor reached at age_reference, never below 1; drawn once a history."""
    age_reference: base.PositiveTime
    """Age at which age_factor holds; what it exceeds 1 by grows in proportion to age."""
    idle_growth: base.Factor
    """Growth c of the torque with idle time: factor 1 + c ln(1 + weeks idle)."""
    idle_cap: Annotated[float, base.Quantity("factor", low=1, high=1000)]
    """Cap of that factor."""
    untouched: base.Time
    """Time since the valve was last moved, where nothing fitted moves it."""
    seize_time: base.PositiveTimeSpreadOrNever
    """Idle time until the valve seizes."""
    closing_share: base.ShareSpread
    """Torque to close as a share of breakaway; drawn per demand."""
    turns: base.Turns
    """Turns from open to shut; a quarter turn is 0.25."""
    seat_leak: base.FlowSpread
    """Flow past the seat when shut; drawn once a history."""
    stem_limit: base.Torque
    """Maximum allowable stem torque; beyond it the stem shears."""
    renew_after: base.CountOrNone
    """How often it must be found stiff or seized before it is renewed; 0: never."""


class Element(Section):
    """What closes the water."""

    kind: elements.Kind
    """"none" is a person only, without sensors or messages; "alarm only" keeps these."""

    @property
    def traits(self) -> elements.Element:
        """What is true of this kind."""
        return elements.ELEMENTS[self.kind]


class Actuator(Section):
    """The motor with its gears, from its data sheet."""

    preset: ClassVar[Preset | None] = Preset("class", "actuator_classes")
    shared_defaults: ClassVar[str | None] = "actuator"

    class_: base.ActuatorClass = Field(alias="class")
    """Class, which gives the data sheet's values unless they are stated."""
    rated_voltage: base.PositiveVoltage
    """Voltage at which the data sheet's values hold."""
    stall_torque: base.Torque
    """Torque at the output shaft at stall."""
    stall_current: base.PositiveCurrent
    """Current at stall."""
    no_load_current: base.Current
    """Current when it turns freely."""
    no_load_speed: base.Speed
    """Speed of the output shaft when it turns freely."""
    travel: base.TurnsOrNever
    """Travel of the output shaft; never: it has no end stop."""
    current_limit: base.CurrentOrNever
    """Current limit of the driver; never: it has none."""
    unit_spread: base.FactorSpread
    """Factor on torque between units."""
    wear: base.Share
    """Share of torque lost per stroke."""
    ambient: base.Temperature
    """Temperature around the actuator."""
    temperature_derating: base.SharePerKelvin
    """Share of torque lost per degree away from 20 degC."""
    thermal_resistance: base.ThermalResistance
    """From winding to surroundings."""
    thermal_time: base.PositiveTime
    """Time constant of the winding."""
    winding_limit: base.WindingTemperature
    """Temperature at which the winding burns."""
    stall_cutoff: base.TimeOrNever
    """Time at stall after which the controller cuts off."""
    retries: Retries
    """Further attempts after a failed one."""
    retry_pause: base.Time
    """Pause between attempts."""
    failure_rate: base.Rate
    """Random failures of the actuator."""
    diagnostic: base.Share
    """Diagnostic coverage: share of these that is detected at once."""
    stick_chance: base.Share
    """Chance per demand that it sticks."""
    strip_chance: base.Share
    """Chance per stall that gears strip."""
    short_chance: base.Share
    """Chance per stroke that travel ends short."""
    short_flow: base.Share
    """Share of the flow that still passes then."""
    feedback: base.Flag
    """Whether the end of travel is sensed."""
    repair: base.TimeSpread
    """Time to notice, order and fit after a fault is known."""


class MotorisedValve(Section):
    """A new valve with its own motor, fitted by a plumber."""

    valve: Valve
    """The new valve; the old one is no longer used."""
    drive: Actuator
    """Its motor."""
    release_time: base.TimeSpread
    """Time to work its manual override."""


class Solenoid(Section):
    """A solenoid valve, fitted by a plumber beside the existing stop valve."""

    coil_power: base.Power
    """Draw of the coil while it is powered."""
    release_time: base.TimeSpread
    """Time to work its manual override."""
    failure_rate: base.Rate
    """Random failures."""
    diagnostic: base.Share
    """Diagnostic coverage: share of these that is detected at once."""
    stick_chance: base.Share
    """Chance per demand that dirt keeps it from closing."""
    feedback: base.Flag
    """Whether the end of travel is sensed."""
    repair: base.TimeSpread
    """Time to notice, order and fit after a fault is known."""


class Mount(Section):
    """The clamp that holds the actuator on the valve."""

    preset: ClassVar[Preset | None] = Preset("kind", "mount_kinds")

    kind: base.MountKind
    """Kind of mount, which gives the other values unless they are stated."""
    fasteners: Fasteners
    """Number of screws to undo before the handle is free."""
    fastener_time: base.TimeSpread
    """Time per screw; drawn per leak."""
    tool_at_hand: base.Share
    """Chance that the screwdriver is at hand."""
    tool_search: base.TimeSpread
    """Time to find one."""
    release_time: base.TimeSpread
    """Time to free a quick-release mount."""
    slip_torque: base.TorqueOrNever
    """Torque that the mount holds when new; never: it cannot slip."""
    preload_kept: base.ShareSpread
    """Share of clamp preload left after preload_reference."""
    preload_reference: base.PositiveTime
    """Time for preload_kept; the loss goes with the logarithm of time."""


class Exercise(Section):
    """Scheduled open-close-open cycles."""

    interval: base.IntervalOrNever
    """Time between exercises."""
    coverage: base.Share
    """Diagnostic coverage of an exercise: chance that it finds a dormant fault."""
    outage: base.Time
    """Time that the valve cannot serve a demand per exercise."""
