"""Closing elements: what closes the water in a design, one row of traits each.

Rules ask for traits, never for one element by name, so that a further element is a further row.
Compiled rules ask in :mod:`shutoffsim.model.fitted`; words for people stand in
:mod:`shutoffsim.report.elements`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, Literal, NamedTuple

#: Names as in a scenario file, in the order of their numbers.
Kind = Literal[
    "none",
    "alarm only",
    "clamped actuator",
    "motorised valve",
    "solenoid, powered open",
    "solenoid, powered shut",
]

#: What moves it. With a motor torque counts; a coil closes whatever the torque.
Drive = Literal["nothing", "motor", "coil"]
#: What becomes of it when there is no power at all.
Unpowered = Literal["stays", "falls shut", "falls open"]


class Element(NamedTuple):
    """The traits of a closing element.

    Attributes
    ----------
    automated : bool
        Sensors, messages and a controller come with it.
    drive : str
        What moves it; with nothing only a person closes.
    unpowered : str
        What becomes of it without any power.
    clamped : bool
        It sits on the existing valve, with a mount that can slip and must be taken off.
    own_valve : bool
        It closes a valve of its own in the place of the existing one.
    section : str
        Section of the scenario file where its values stand.
    """

    automated: bool = True
    drive: Drive = "nothing"
    unpowered: Unpowered = "stays"
    clamped: bool = False
    own_valve: bool = False
    section: str = ""

    @property
    def closes(self) -> bool:
        """Whether it closes the water by itself."""
        return self.drive != "nothing"

    @property
    def motor(self) -> tuple[str, ...]:
        """Path of the section with its motor; empty: there is none."""
        if self.drive != "motor":
            return ()
        return (self.section, "drive") if self.own_valve else (self.section,)


ELEMENTS: Final[Mapping[Kind, Element]] = {
    "none": Element(automated=False),
    "alarm only": Element(),
    "clamped actuator": Element(drive="motor", clamped=True, section="actuator"),
    "motorised valve": Element(drive="motor", own_valve=True, section="motorised_valve"),
    "solenoid, powered open": Element(drive="coil", unpowered="falls shut", section="solenoid"),
    "solenoid, powered shut": Element(drive="coil", unpowered="falls open", section="solenoid"),
}

#: The number of each in a parameter record, and the traits by that number.
NUMBERS: Final = {kind: number for number, kind in enumerate(ELEMENTS)}
NUMBERED: Final = tuple(ELEMENTS.values())


def elements_that(have: Callable[[Element], bool]) -> int:
    """Return a number whose bit n tells whether element n has a trait: all compiled code needs."""
    return sum(1 << number for number, element in enumerate(NUMBERED) if have(element))
