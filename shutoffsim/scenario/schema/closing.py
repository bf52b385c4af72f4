"""The valve, what closes it, and how that is mounted."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field, Strict

from shutoffsim.model import elements
from shutoffsim.scenario.distributions import Distribution
from shutoffsim.scenario.quantities import Spread
from shutoffsim.scenario.schema import base
from shutoffsim.scenario.schema.base import Preset, Section

Retries = Annotated[int, Strict(), Field(ge=0, le=20)]
EndOfTravel = Literal["not sensed", "at the motor", "at the stem"]
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
    opening_share: base.Share
    """Torque to open from shut, as a share of breakaway."""
    turns: base.Turns
    """Turns from open to shut; a quarter turn is 0.25."""
    handle: base.Grip
    """What a hand turns on it, where nothing is clamped on."""
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
    off_rating: base.Flag
    """Whether a supply or battery more than a quarter off that voltage is meant."""
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
    torque_exponent: Annotated[float, base.Quantity("factor", low=0.1, high=2)]
    """Exponent a of torque at stall: it goes with the voltage to the power a."""
    current_exponent: Annotated[float, base.Quantity("factor", low=0.1, high=2)]
    """Exponent of current at stall."""
    current_limit: base.CurrentOrNever
    """Current limit of the driver, or of the supply; never: there is none."""
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
    current_sensed: base.Flag
    """Whether the controller watches its current; a time limit alone shows nothing."""
    end_of_travel: EndOfTravel
    """Where the end of travel is sensed."""
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
    current_sensed: base.Flag
    """Whether the controller watches its current; a time limit alone shows nothing."""
    end_of_travel: EndOfTravel
    """Where the end of travel is sensed."""
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
    """Chance that the tools are at hand: for screws, a bare stem, a knob; 1: kept there."""
    tool_search: base.TimeSpread
    """Time to find them."""
    release_time: base.TimeSpread
    """Time to free a quick-release mount."""
    reaction: Literal["friction", "form"]
    """What keeps it from turning with the motor: friction, or a form that cannot turn."""
    slip_torque: base.Torque
    """Torque that friction holds an hour after tightening: coefficient x preload x radius."""
    creep: Annotated[Distribution, Spread("factor", low=0, high=1)]
    """Exponent n: t hours after tightening t^-n of the preload is left; drawn per tightening."""
    retightening: base.IntervalOrNever
    """Time between retightenings by people."""


class Exercise(Section):
    """Scheduled open-close-open cycles."""

    interval: base.IntervalOrNever
    """Time between exercises."""
    coverage: base.Share | None = None
    """Share of faults, by kind, that an exercise finds; left out: by what is fitted."""
    outage: base.Time
    """Time that the valve cannot serve a demand per exercise."""


class Coverage(Section):
    """Share of random failures, by kind, that a test finds, by what watches it."""

    nothing: base.Share
    """Nothing is watched: somebody may hear that it does not run."""
    current: base.Share
    """The motor's current, or the end of travel at the motor."""
    position: base.Share
    """The end of travel at the stem."""
    flow: base.Share
    """Somebody at an open tap."""


class OwnerTest(Section):
    """A closing that people watch with a tap open."""

    interval: base.IntervalOrNever
    """Time between tests."""
    done: base.Share
    """Chance that one is really done."""


class Commissioning(Section):
    """The fitting test, on the day, on the supply that is there."""

    test: Literal["none", "close", "close and reopen"]
    """What is tried before people rely on it."""
    if_it_fails: Literal["next class", "give up", "keep"]
    """What is done if it fails."""
    up_to: base.ActuatorClass | None = None
    """The strongest class that one is ready to fit; left out: the strongest that suits."""


class Repairs(Section):
    """Who mends what has failed, and what that costs."""

    by_owner: base.Flag
    """Whether the owner mends all but the valve; otherwise an installer comes."""
    part: base.Amount
    """Price of a like closing element."""
    valve: base.Amount
    """Price of a new valve."""
    sensor: base.Amount
    """Price of a new sensor, or of a pickup on the meter."""
    battery: base.Amount
    """Price of a new battery."""
    owner: base.Amount
    """What the time of an owner who mends it is worth."""
    installer: base.Amount
    """Call-out and work of an installer."""
    plumber: base.Amount
    """Call-out and work of a plumber."""
    next_class_after: base.CountOrNone
    """How often a stall must be found before the next class is fitted; 0: never."""
    street_valve: base.Amount
    """Having the valve in the street shut and opened again."""


class Reopening(Section):
    """Who gives the water back after a closing for no leak."""

    notice: base.TimeSpread
    """Until somebody who is there and awake notices and acts."""
    urgent: base.TimeSpread
    """Until a plumber comes, where actuator and hand cannot open the valve."""
