"""The dwelling, its water, its leaks and its weather."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field, Strict

from shutoffsim.scenario.calendar import DayOfYear
from shutoffsim.scenario.schema import base
from shutoffsim.scenario.schema.base import Preset, Section


class SupplyPipe(Section):
    """The service pipe, when the full-bore flow was not measured."""

    alternatives: ClassVar[tuple[tuple[str, ...], ...]] = (("roughness", "friction_factor"),)

    length: Annotated[float, base.Quantity("length", above=0, high=1e4)]
    """Length from the main to the stop valve."""
    bore: Annotated[float, base.Quantity("length", low=1e-3, high=1)]
    """Inner diameter."""
    roughness: Annotated[float, base.Quantity("length", low=0, high=5e-3)] | None = None
    """Height of the wall's roughness, from which friction is computed at every flow."""
    friction_factor: Annotated[float, base.Quantity("factor", above=0, high=1)] | None = None
    """Darcy friction factor, where it is known: the same at every flow."""
    fittings_k: Annotated[float, base.Quantity("factor", low=0, high=1e6)]
    """Sum of the loss coefficients of bends, tees, meter and valves, on the bore's velocity."""


class Surge(Section):
    """The pipe in which the pressure rises when the valve shuts (water hammer)."""

    length: Annotated[float, base.Quantity("length", above=0, high=1e4)]
    """Length of the pipe before the valve, to a main or a tank."""
    bore: Annotated[float, base.Quantity("length", low=1e-3, high=1)]
    """Its inner diameter."""
    wall: Annotated[float, base.Quantity("length", low=1e-5, high=0.1)]
    """Thickness of its wall."""
    modulus: Annotated[float, base.Quantity("pressure", low=1e6, high=1e12)]
    """Young's modulus of its wall."""
    throttling: Annotated[float, base.Quantity("share", low=0.01, high=1)]
    """Share of the stroke in which a turned valve throttles the flow."""
    limit: base.Pressure
    """Highest pressure that the installation may bear."""


class Dwelling(Section):
    """The dwelling and its water."""

    alternatives: ClassVar[tuple[tuple[str, ...], ...]] = (("full_bore_flow", "supply_pipe"),)

    floor_area: base.Area
    """Floor area of the dwelling."""
    units_below: Annotated[int, Strict(), Field(ge=0, le=100)]
    """Units below that water can reach."""
    pressure: base.PressureSpread
    """Static pressure at the stop valve; drawn once a history."""
    full_bore_flow: base.PositiveFlow | None = None
    """Flow of the fully open supply (a bucket test) at full_bore_pressure."""
    full_bore_pressure: base.Pressure
    """Static pressure during the bucket test."""
    supply_pipe: SupplyPipe | None = None
    """Pipe data from which the flow is computed instead, at each pressure."""
    water_temperature: Annotated[float, base.Quantity("temperature", low=0, high=40)]
    """Temperature of the cold water: its density, and its viscosity in the supply pipe."""
    drain_down: base.VolumeSpread
    """Water stored above a leak that still runs out after closing."""
    drain_head: Annotated[float, base.Quantity("length", above=0, high=100)]
    """Height of that water above the leak: what drives it out."""
    evaporation: Annotated[float, base.Quantity("evaporation", low=0, high=1e-5)]
    """Water that a wet floor loses to the air of the room; 0: seeps never dry."""
    film: base.PositiveLengthSpread
    """Thickness of the film of spreading water; drawn per leak."""


class Zone(Section):
    """A part of the dwelling that a sensor can watch, such as a kitchen."""

    shared_defaults: ClassVar[str | None] = "zone"

    area: base.Area
    """Floor area of the zone."""
    fitted: base.Flag
    """False: the zone does not exist in this design."""


class Leak(Section):
    """A place where water may escape."""

    preset: ClassVar[Preset | None] = Preset("kind", "leak_kinds")
    alternatives: ClassVar[tuple[tuple[str, ...], ...]] = (
        ("rate", "life"),
        ("hole_diameter", "hole_area", "open_end_flow"),
    )
    shared_defaults: ClassVar[str | None] = "leak"

    kind: base.LeakKind | None = None
    """Kind of leak, which gives all other values unless they are stated."""
    zone: str
    """Name of its zone; may be left out when there is only one."""
    rate: base.Rate | None = None
    """Constant rate of leaks, per part."""
    life: Annotated[float, base.Quantity("time", low=86400.0)] | None = None
    """Characteristic life of the part: 63 % have leaked by then (Weibull scale)."""
    life_shape: Annotated[float, base.Quantity("factor", low=0.1, high=20)]
    """Weibull shape that goes with life; above 1: more likely with age."""
    parts: base.Count
    """Number of like parts."""
    age: base.Time
    """Age of the part at commissioning."""
    replace_at: Annotated[float, base.Quantity("time", above=0, never=True)]
    """Age at which the part is replaced on schedule."""
    season: Literal["all year", "winter"]
    """When it leaks."""
    spell_factor: base.RateFactor
    """Rate multiplier during a severe cold spell or storm."""
    trip_factor: base.RateFactor
    """Rate multiplier while everybody is away on a trip."""
    starts: Literal["any time", "in use"]
    """In use: it starts to leak only while somebody is awake at home."""
    seep_share: base.Share
    """Share of leaks that start as a seep, not as a burst."""
    seep_flow: base.PositiveFlowSpread
    """Flow of a seep."""
    seep_growth: base.PositiveTimeSpreadOrNever
    """Time for a seep to become a burst."""
    hole_diameter: base.PositiveLengthSpread | None = None
    """Diameter of a burst's hole (fixed or log-normal)."""
    hole_area: base.PositiveAreaSpread | None = None
    """Area of a burst's hole."""
    discharge: Annotated[float, base.Quantity("factor", above=0, high=1)]
    """Discharge coefficient of the hole."""
    open_end_flow: base.PositiveFlowSpread | None = None
    """Flow of a torn-off hose or pipe end at open_end_pressure, from a supply without losses."""
    open_end_pressure: base.Pressure
    """Pressure at which open_end_flow holds."""
    hidden: base.PositiveFactor
    """Factor on the time until a person notices (1: in plain view)."""
    out_of_reach: base.Share
    """Share of its leaks whose water stays where no sensor can be, such as inside a wall."""
    water: Literal["clean", "grey"]
    """Clean supply water, or grey water."""
    fitted: base.Flag
    """False: there is no such leak in this design."""


class Weather(Section):
    """Winter, and the cold spells and storms in it."""

    coldest_day: Annotated[float, DayOfYear()]
    """The coldest day of an average year."""
    spell_rate: base.Rate
    """Severe cold spells or storms, all in the winter half."""
    spell_duration: base.PositiveTimeSpread
    """How long one lasts."""
