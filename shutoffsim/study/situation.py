"""How things stand at one moment of a history, in a word or two each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from shutoffsim.model import layout as L
from shutoffsim.model import power, valve
from shutoffsim.model.elements import NUMBERED
from shutoffsim.model.occupancy import presence_at

POSITIONS = {int(L.OPEN): "open", int(L.SHUT): "shut", int(L.SHORT): "not quite shut"}
_FAULTS = ("failed", "burnt", "stripped", "slipped")  # fields of the state


@dataclass(frozen=True)
class Situation:
    """Power, valve with what is wrong with its drive, sensors and people.

    Attributes
    ----------
    power, valve, sensors, people : str
    """

    power: str
    valve: str
    sensors: str
    people: str


def describe(p: Any, fitted: Sequence[int], now: float, s: Any) -> Situation:
    """Return the situation.

    Parameters
    ----------
    p, s : record
        Parameters and state.
    fitted : sequence of int
        Numbers of the sensors that are there.
    now : float
        Time, s.
    """
    if not NUMBERED[p.element_kind].closes:
        supply = "mains" if power.house_is_live(s) else "no mains"
    else:
        supply = ("none", "mains", "battery")[int(power.power_source(p, s))]
    words = [POSITIONS[int(s.position)], *(field for field in _FAULTS if s[field] == 1)]
    if s.stuck_shut == 1:
        words.append("stuck")
    if valve.is_seized(s, now):
        words.append("seized")
    if s.switched_off == 1:
        words.append("automation off")
    alive = sum(1 for k in fitted if s.sensor_ok[k] == 1)
    sensors = f"{alive} of {len(fitted)} work" if fitted else "none"
    people = L.PRESENCE_NAMES[int(presence_at(p, s, now))]
    return Situation(supply, ", ".join(words), sensors, people)
