"""The range over which an assumption is varied, made by rule from the value in use.

The rules are assumptions themselves: they say how far a value without a source may plausibly be
off, by the kind of quantity.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final, NamedTuple

from shutoffsim.scenario.distributions import Distribution
from shutoffsim.scenario.entries import Entry, kind_of
from shutoffsim.scenario.quantities import Capacity, Quantity

RULES: Final = (
    "times and rates: half to double; the life of a part so that its leaks are half to double "
    "(assumption)",
    "shares and chances: odds half to double, so they stay between 0 and 1 (assumption)",
    "voltages: 10 % less to 10 % more (assumption)",
    "all other amounts, such as flows, torques, areas and money: divided by 1.5 to times 1.5 "
    "(assumption)",
    "factors that are never below 1: what exceeds 1, divided by 1.5 to times 1.5 (assumption)",
    "spreads: their logarithm divided by 1.5 to times 1.5 (assumption)",
    "shapes of lives: divided by 1.2 to times 1.2, the scale kept (assumption)",
    "of a spread value its middle or ends are moved, its width is kept",
)
_TIMES, _SHARES, _VOLTAGES, _OTHERS, _ABOVE_ONE, _SPREADS, _SHAPES = RULES[:7]
_TIME_LIKE = ("time", "rate", "share rate")


class Scale(NamedTuple):
    """How far a value may be off: where each number goes at a step, and the rule for it.

    At step 0 it stays, at -1 and 1 it is at the ends of its range, and steps between and beyond go
    on in the same way: a rate by factors, a share by its odds.
    """

    move: Callable[[float, float], float]
    rule: str

    def at(self, value: Any, step: float) -> Any:
        """Return a number, a distribution or a capacity, moved by a step."""
        return _put(value, lambda number: self.move(number, step)) if step else value


class Range(NamedTuple):
    """Ends of a range, as SI numbers or distributions, and its rule."""

    low: Any
    high: Any
    rule: str


def range_of(entry: Entry, shape: float = 1.0) -> Range | str:
    """Return the range of a value, or why it has none.

    Parameters
    ----------
    entry : Entry
        A value of a design.
    shape : float
        Of the life of a part, where that is the value: leaks go with life to the power of -shape.

    Examples
    --------
    >>> from shutoffsim.scenario import loads, starter
    >>> knows = loads(starter()).design("plus battery").entries["override", "knows_valve"]
    >>> knows.value, [round(end, 3) for end in range_of(knows)[:2]]
    (0.58, [0.408, 0.734])
    """
    scale = scale_of(entry, shape)
    if isinstance(scale, str):
        return scale
    return Range(scale.at(entry.value, -1.0), scale.at(entry.value, 1.0), scale.rule)


def scale_of(entry: Entry, shape: float = 1.0) -> Scale | str:
    """Return how a value may be moved within its range, or why it has none.

    Parameters
    ----------
    entry, shape
        As of :func:`range_of`.
    """
    scale = _scale(entry, shape)
    value = entry.value
    if isinstance(scale, str):
        return scale
    if value in (math.inf, Distribution("fixed", math.inf)):
        return "it has no number to vary"
    if value in (scale.at(value, -1.0), scale.at(value, 1.0)):
        return "it is at the end of its range (none or all)"
    return scale


def _scale(entry: Entry, shape: float) -> Scale | str:
    path, dimension = entry.path, entry.dimension
    if not dimension:
        return "a choice, not an amount"
    if dimension == "temperature":
        return "a temperature has no natural factor"
    if dimension == "share":
        return Scale(_odds, _SHARES)
    factor, rule = 1.5, _OTHERS
    kind = kind_of(path)
    if isinstance(kind, Quantity) and dimension == "factor" and kind.low == 1.0:
        spreads = path[-1].endswith("spread")
        return Scale(_logarithm, _SPREADS) if spreads else Scale(_beyond_one, _ABOVE_ONE)
    if path[-1] == "life_shape":
        factor, rule = 1.2, _SHAPES
    elif path[0] == "leaks" and path[-1] == "life":
        factor, rule = 2.0 ** (1.0 / shape), _TIMES
    elif dimension in _TIME_LIKE:
        factor, rule = 2.0, _TIMES
    elif dimension == "voltage":
        factor, rule = 1.1, _VOLTAGES
    return Scale(lambda number, step: number * factor**step, rule)


def _odds(share: float, step: float) -> float:
    factor = 2.0**step
    return factor * share / (1.0 - share + factor * share)


def _beyond_one(factor: float, step: float) -> float:
    return 1.0 + (factor - 1.0) * 1.5**step


def _logarithm(spread: float, step: float) -> float:
    return float(spread ** (1.5**step))


def _put(value: Any, change: Callable[[float], float]) -> Any:
    if isinstance(value, Distribution):
        return value.moved(change)
    if isinstance(value, Capacity):
        return Capacity(*(change(part) if part else 0.0 for part in value))
    return change(float(value))
