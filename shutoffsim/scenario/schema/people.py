"""The people in and around the dwelling."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from shutoffsim.scenario.calendar import Day, DayPlan
from shutoffsim.scenario.schema import base
from shutoffsim.scenario.schema.base import Preset, Section

AnyDay = Annotated[Day, DayPlan()]


class Week(Section):
    """An ordinary week. Times are in half hours, such as "07:30"."""

    weekdays: AnyDay
    """Monday to Friday."""
    saturday: AnyDay
    """Saturday."""
    sunday: AnyDay
    """Sunday."""
    monday: AnyDay | None = None
    """Monday, where it differs from the other weekdays."""
    tuesday: AnyDay | None = None
    """Tuesday, where it differs."""
    wednesday: AnyDay | None = None
    """Wednesday, where it differs."""
    thursday: AnyDay | None = None
    """Thursday, where it differs."""
    friday: AnyDay | None = None
    """Friday, where it differs."""


class People(Section):
    """Where the people of the dwelling are, and how fast they notice a leak."""

    preset: ClassVar[Preset | None] = Preset("pattern", "patterns")

    pattern: base.PeoplePattern
    """Kind of household or use, which gives the week and the trips unless they are stated."""
    week: Week
    """An ordinary week."""
    trips: base.Flag
    """Whether people go on trips of days or weeks."""
    stay: base.LongTimeSpread
    """Time between trips."""
    trip: base.LongTimeSpread
    """Length of a trip."""
    shut_on_leaving: base.Share
    """Chance per trip that they shut the valve themselves: by hand, or by the actuator's button."""
    power_off_on_leaving: base.Share
    """Chance per trip that they switch the power of the house off until they are back."""
    visits: base.IntervalOrNever
    """Time between visits of a caretaker while they are on a trip."""
    visit_sees: base.Share
    """Chance that a leak shows to such a visitor; drawn once per leak."""
    visit_cost: base.Amount
    """Price of a visit."""
    start_away: base.Share | None = None
    """Chance that the history starts during a trip; left out: the long-run share."""
    notice_burst: base.PositiveTime
    """Median time for a person awake at home to notice a burst."""
    notice_seep: base.PositiveTime
    """Median time for a person awake at home to notice a seep."""
    notice_asleep: base.PositiveFactor
    """Factor on these medians while asleep."""
    notice_spread: base.SpreadFactor
    """Spread of these times: two thirds lie within this factor of the median."""


class Siren(Section):
    """The sound of a wet sensor in the dwelling."""

    fitted: base.Flag
    """Whether a wet sensor sounds."""
    power: Literal["own battery", "mains", "controller"]
    """What feeds it; one that the controller feeds sounds when a report has reached it."""
    awake: base.PositiveTime
    """Median time to react to it, awake."""
    asleep: base.PositiveTime
    """Median time to react to it, asleep."""


class Notification(Section):
    """A message to a phone; needs the gateway."""

    awake: base.PositiveTime
    """Median time to notice a message, awake or out."""
    asleep: base.PositiveTime
    """Median time to notice a message, asleep."""
    away: base.PositiveTime
    """Median time to notice a message, on a trip."""
    spread: base.SpreadFactor
    """Spread of these times."""


class Neighbour(Section):
    """A neighbour in a unit below, where there is one."""

    notices: base.Flag
    """Whether somebody below can notice water coming through."""
    volume: base.Volume
    """Escaped water before it shows below."""
    notice: base.PositiveTime
    """Median time for the neighbour to notice it and call."""


class Override(Section):
    """A person closes the water by hand."""

    preset: ClassVar[Preset | None] = Preset("grip", "grips")

    travel_out: base.TimeSpread
    """Way home when out."""
    travel_away: base.TimeSpread
    """Way home from a trip."""
    key_holder: base.Share
    """Chance that somebody nearby with a key can come."""
    key_holder_time: base.TimeSpread
    """Time until that person is there."""
    knows_valve: base.Share
    """Chance that the person knows the valve; drawn once a history."""
    find_known: base.TimeSpread
    """Time to get to a known valve."""
    find_unknown: base.TimeSpread
    """Further time to find an unknown one."""
    access: base.PositiveFactor
    """Factor on all work at the valve (cramped: above 1)."""
    grip: base.Grip
    """What the hand turns, which gives the hand torque unless it is stated.

    Left out: the valve's handle; a bare stem where an actuator is clamped on.
    """
    hand_torque: base.TorqueSpread
    """Torque that a person applies."""
    tool_torque: base.TorqueSpread
    """Torque that a person applies with a tool, where a bare stem or a knob asks for one."""
    hand_turn: base.PositiveTime
    """Time per turn by hand."""
    upstream: base.TimeSpread
    """Further time to have the next valve upstream shut."""
