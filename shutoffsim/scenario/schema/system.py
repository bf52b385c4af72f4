"""The whole of one design, resolved."""

from __future__ import annotations

from typing import Annotated

from shutoffsim.scenario.quantities import Quantity
from shutoffsim.scenario.schema.base import Section
from shutoffsim.scenario.schema.closing import (
    Actuator,
    Commissioning,
    Coverage,
    Element,
    Exercise,
    MotorisedValve,
    Mount,
    OwnerTest,
    Reopening,
    Repairs,
    Solenoid,
    Valve,
)
from shutoffsim.scenario.schema.control import (
    Battery,
    Controller,
    Gateway,
    Mains,
    Policies,
    Supply,
)
from shutoffsim.scenario.schema.money import Costs, Damage, Insurance
from shutoffsim.scenario.schema.people import Neighbour, Notification, Override, People, Siren
from shutoffsim.scenario.schema.sensing import (
    Detection,
    FlowRule,
    Nuisance,
    PressureTest,
    Sensor,
)
from shutoffsim.scenario.schema.water import Dwelling, Leak, Surge, Weather, Zone


class System(Section):
    """Everything that a history needs to know about one design."""

    service_life: Annotated[float, Quantity("time", low=86400.0, high=200 * 31557600.0)]
    """Time simulated, from commissioning."""
    dwelling: Dwelling
    """The dwelling and its water."""
    surge: Surge
    """The pipe before the valve, as far as water hammer goes."""
    zones: dict[str, Zone]
    """Parts of the dwelling, by name."""
    leaks: dict[str, Leak]
    """Places where water may escape, by name."""
    sensors: dict[str, Sensor]
    """Spot sensors, by name."""
    detection: Detection
    """What all spot sensors share."""
    flow_rule: FlowRule
    """A rule on the water meter's pulses."""
    pressure_test: PressureTest
    """Pressure held at night with the valve shut."""
    siren: Siren
    """The sound of a wet sensor."""
    notification: Notification
    """A message to a phone."""
    neighbour: Neighbour
    """A neighbour below."""
    people: People
    """Where the people are, and how fast they notice."""
    controller: Controller
    """The box that decides."""
    gateway: Gateway
    """The gateway and the line to the outside."""
    policies: Policies
    """When the valve shuts other than on a leak alarm."""
    mains: Mains
    """Outages of the public supply."""
    weather: Weather
    """Winter, cold spells and storms."""
    supply: Supply
    """The power supply."""
    battery: Battery
    """The battery."""
    valve: Valve
    """The existing stop valve."""
    element: Element
    """What closes the water."""
    actuator: Actuator
    """The clamped actuator."""
    motorised_valve: MotorisedValve
    """A new valve with its own motor."""
    solenoid: Solenoid
    """A solenoid valve."""
    mount: Mount
    """The clamp."""
    exercise: Exercise
    """Scheduled cycles."""
    commissioning: Commissioning
    """The fitting test."""
    coverage: Coverage
    """What tests find of random failures."""
    owner_test: OwnerTest
    """Tests that people do themselves."""
    reopening: Reopening
    """Who gives the water back."""
    repairs: Repairs
    """What is mended, by whom, at what price."""
    override: Override
    """A person closes the water by hand."""
    nuisance: Nuisance
    """False alarms."""
    damage: Damage
    """From escaped water to loss."""
    insurance: Insurance
    """The insurer's view."""
    costs: Costs
    """What the design costs."""
