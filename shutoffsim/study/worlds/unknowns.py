"""Which values nobody knows, and how far off they may be.

Unknown is a value in use that the scenario does not state and no document backs. What is fitted,
set, laid out or paid is a choice and no unknown, even where the library chooses it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from shutoffsim.errors import ModelError, UnitError
from shutoffsim.scenario.distributions import Distribution
from shutoffsim.scenario.entries import given, kind_of, words
from shutoffsim.scenario.quantities import Capacity, Given, as_written
from shutoffsim.scenario.resolve import Design
from shutoffsim.scenario.structure import Path
from shutoffsim.study.assessment.assumed import Assumed, assumed
from shutoffsim.study.assessment.ranges import Scale, scale_of

_CHOSEN_SECTIONS = ("service_life", "zones", "exercise", "repairs", "costs", "insurance")
#: Last parts of keys, by why they are no unknowns.
_CHOSEN = {
    *("floor_area", "length", "bore", "turns", "travel"),  # geometry
    *("interval", "test_interval", "report_interval", "test", "change"),  # schedules
    *("retightening", "replace_at"),
    *("voltage", "rated_voltage", "capacity", "pulse_volume", "current_limit"),  # what is fitted
    *("stall_torque", "stall_current", "no_load_current", "no_load_speed", "coil_power"),
    *("stall_cutoff", "retry_pause", "power_loss_wait", "hold"),  # settings
    *("open_end_pressure", "full_bore_pressure", "age_reference"),  # where another value holds
    "late_volume",  # only sorts results
}
_RULE = ("flow", "time", "volume", "time_away", "volume_away")  # of the flow rule


@dataclass(frozen=True)
class Unknown:
    """One entry of the library that nobody knows, wherever it stands.

    Its step is 0 at the value in use, which is the median, and -1 and 1 at the 5 and 95 % ends.

    Attributes
    ----------
    key : str
        Where it stands, with ``*`` for the name of a leak, sensor or zone.
    entries : tuple of str
        Names of leaks or sensors that it stands at.
    value : float, Distribution or Capacity
        In use, SI.
    scale : Scale
        How it moves.
    written : object
        The value as in a file.
    evidence, source : str
        What it rests on.
    places : tuple of (int, tuple of str)
        Numbers of designs, and paths there.

    Raises
    ------
    ModelError
        The range does not contain the value.
    """

    key: str
    entries: tuple[str, ...]
    value: Any
    scale: Scale
    written: Any
    evidence: str
    source: str
    places: tuple[tuple[int, Path], ...]

    def __post_init__(self) -> None:
        low, middle, high = (_middle(self.scale.at(self.value, step)) for step in (-1.0, 0.0, 1.0))
        if not (low < middle < high and abs(middle - _middle(self.value)) <= 1e-9 * abs(middle)):
            raise ModelError(
                f"the range of {self.key} does not hold its value",
                found=f"{low:g} to {high:g}",
                expected=f"ends below and above {_middle(self.value):g}",
            )

    @property
    def name(self) -> str:
        """What tells it from all others."""
        return "\0".join((self.key, words(self.written), self.source))

    def at(self, step: float) -> Any:
        """Return the value at a step, or None where the schema does not allow it."""
        value = self.scale.at(self.value, step)
        kind = kind_of(self.places[0][1])
        assert kind is not None
        raw = value
        if isinstance(value, Distribution) and value.kind == "fixed":
            raw = value.a
        try:
            return kind.read_in(Given(raw, raw), {})
        except UnitError:
            return None

    def shown(self, step: float) -> str:
        """Return the value at a step as it would stand in a file."""
        value = self.scale.at(self.value, step)
        return words(as_written(given(self.places[0][1], value, self.written)))


def unknowns(designs: Sequence[Design]) -> list[Unknown]:
    """Return what nobody knows of some designs, sorted by name.

    Parameters
    ----------
    designs : sequence of Design

    Examples
    --------
    >>> from shutoffsim.scenario import loads, starter
    >>> found = unknowns([loads(starter()).design("plus battery")])
    >>> "override.knows_valve" in [each.key for each in found]
    False
    >>> [each.shown(1.0) for each in found if each.key == "people.notice_burst"]
    ['6 min']
    """
    found = []
    for each in assumed(designs):
        scale = scale_of(each.entry, each.shape)
        if not isinstance(scale, str) and not _is_chosen(each.entry.path):
            found.append(_unknown(each, scale))
    return sorted(found, key=lambda each: each.name)


def _unknown(each: Assumed, scale: Scale) -> Unknown:
    origin, entry = each.origin, each.entry
    about = (entry.value, scale, entry.written, origin.evidence, origin.source)
    return Unknown(each.key, each.entries, *about, tuple(each.places))


def _is_chosen(path: Path) -> bool:
    of_rule = path[0] == "flow_rule" and path[-1] in _RULE
    return path[0] in _CHOSEN_SECTIONS or path[-1] in _CHOSEN or of_rule


def _middle(value: Any) -> float:
    if isinstance(value, Distribution):
        return value.mean
    return float(sum(value)) if isinstance(value, Capacity) else float(value)
