"""The range over which an assumption is varied, made by rule from the value in use.

The rules are assumptions themselves: they say how far a value without a source may plausibly be
off, by the kind of quantity.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
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
    "shapes of lives: divided by 1.2 to times 1.2, the scale kept (assumption)",
    "of a spread value its middle or ends are moved, its width is kept",
)
_TIMES, _SHARES, _VOLTAGES, _OTHERS, _ABOVE_ONE, _SHAPES = RULES[:6]
_TIME_LIKE = ("time", "rate", "share rate")


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
    path, dimension = entry.path, entry.dimension
    if not dimension:
        return "a choice, not an amount"
    if dimension == "temperature":
        return "a temperature has no natural factor"
    if dimension == "share":
        return _moved(entry.value, _odds, _SHARES)
    factor, rule = 1.5, _OTHERS
    kind = kind_of(path)
    if isinstance(kind, Quantity) and dimension == "factor" and kind.low == 1.0:
        return _moved(entry.value, _beyond_one, _ABOVE_ONE)
    if path[-1] == "life_shape":
        factor, rule = 1.2, _SHAPES
    elif path[0] == "leaks" and path[-1] == "life":
        factor, rule = 2.0 ** (1.0 / shape), _TIMES
    elif dimension in _TIME_LIKE:
        factor, rule = 2.0, _TIMES
    elif dimension == "voltage":
        factor, rule = 1.1, _VOLTAGES
    return _moved(entry.value, lambda x, up: x * (factor if up else 1.0 / factor), rule)


def _odds(share: float, up: bool) -> float:
    factor = 2.0 if up else 0.5
    return factor * share / (1.0 - share + factor * share)


def _beyond_one(factor: float, up: bool) -> float:
    return 1.0 + (factor - 1.0) * (1.5 if up else 1.0 / 1.5)


def _moved(value: Any, move: Callable[..., float], rule: str) -> Range | str:
    low, high = _put(value, partial(move, up=False)), _put(value, partial(move, up=True))
    if value in (math.inf, Distribution("fixed", math.inf)):
        return "it has no number to vary"
    if value in (low, high):
        return "it is at the end of its range (none or all)"
    return Range(low, high, rule)


def _put(value: Any, change: Callable[[float], float]) -> Any:
    if isinstance(value, Distribution):
        return value.moved(change)
    if isinstance(value, Capacity):
        return Capacity(*(change(part) if part else 0.0 for part in value))
    return change(float(value))
