"""How often automation fails, by link and by subsystem, as the standards split it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.model.modes import FAILURE_MODES, Stage

#: The subsystems of IEC 61511, and what is beside them, by the stages of the links in them.
SUBSYSTEMS: Final[Mapping[str, tuple[Stage, ...]]] = {
    "sensing": ("sensing",),
    "logic and power": ("logic",),
    "closing element": ("element", "torque"),
    "time": ("time",),
    "nothing fitted": ("not fitted",),
}


def _figures(*stages: Stage) -> list[int]:
    """Return the figures of a tally that count failures at some stages."""
    numbers = L.modes_that(lambda mode: mode.stage in stages)
    return [int(T.FIRST_MODE + number) for number in numbers]


#: Leaks of which the controller learned: none that sensing missed, none where nothing is fitted.
_DEMANDS: Final = [
    int(T.FIRST_MODE + L.MODE_NONE),
    *_figures("logic", "element", "torque", "time"),
]


def by_link(tally: Tally, design: int) -> dict[str, Estimate]:
    """Return the share of all leaks by first broken link, largest first, of those that occurred."""
    found = {
        name: tally.share(design, T.FIRST_MODE + number)
        for number, name in enumerate(FAILURE_MODES, start=1)
        if tally.total[design, T.FIRST_MODE + number] > 0.0
    }
    return dict(sorted(found.items(), key=lambda item: -item[1].value))


def by_subsystem(tally: Tally, design: int) -> dict[str, Estimate]:
    """Return the share of all leaks by subsystem of the first broken link; they add up to all."""
    return {
        name: tally.share(design, figures)
        for name, stages in SUBSYSTEMS.items()
        if (figures := _figures(*stages)) and tally.total[design, figures].sum() > 0.0
    }


def given_a_demand(tally: Tally, design: int) -> Estimate:
    """Return the share of failures among the leaks that sensing did not miss.

    Logic, power, closing element and time: what is asked of a safety function once it is called
    upon. With nothing fitted there is no demand, and the value is nan.
    """
    return tally.share(design, _figures("logic", "element", "torque", "time"), _DEMANDS)
