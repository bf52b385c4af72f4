"""The range over which an assumption is varied, made by rule from the value in use.

The rules are assumptions themselves: they say how far a value without a source may plausibly be
off, by the kind of quantity.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final, NamedTuple, get_args

from pydantic.fields import FieldInfo

from shutoffsim.scenario.quantities import BatteryCapacity, Money, Quantity, Value
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.structure import Path, parts

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
_NUMBER = re.compile(r"\s*([+-]?[0-9]*\.?[0-9]+(?:[eE][+-]?[0-9]+)?)\s*(.*)", re.DOTALL)
_WIDTHS = ("spread", "shape")  # of a distribution: how wide, not where


class Range(NamedTuple):
    """Ends of a range, as they would stand in a scenario file, and its rule."""

    low: Any
    high: Any
    rule: str


def range_of(path: Path, raw: Any, shape: float = 1.0) -> Range | str:
    """Return the range of a value, or why it has none.

    Parameters
    ----------
    path : tuple of str
        Where it stands in a design.
    raw : object
        What stands there.
    shape : float
        Of the life of a part, where that is the value: leaks go with life to the power of -shape.

    Examples
    --------
    >>> range_of(("mains", "outage_rate"), "1.2 per year")[:2]
    ('0.6 per year', '2.4 per year')
    >>> range_of(("override", "knows_valve"), 0.5)[:2]
    (0.333333, 0.666667)
    """
    kind = _kind(path)
    if isinstance(raw, bool) or kind is None:
        return "a choice, not an amount"
    dimension = kind.dimension if isinstance(kind, Quantity) else "amount"
    if dimension == "temperature":
        return "a temperature has no natural factor"
    if dimension == "share":
        return _moved(raw, _odds, _SHARES)
    factor, rule = 1.5, _OTHERS
    if isinstance(kind, Quantity) and dimension == "factor" and kind.low == 1.0:
        return _moved(raw, lambda x, up: 1.0 + (x - 1.0) * (1.5 if up else 1 / 1.5), _ABOVE_ONE)
    if path[-1] == "life_shape":
        factor, rule = 1.2, _SHAPES
    elif path[0] == "leaks" and path[-1] == "life":
        factor, rule = 2.0 ** (1.0 / shape), _TIMES
    elif dimension in _TIME_LIKE:
        factor, rule = 2.0, _TIMES
    elif dimension == "voltage":
        factor, rule = 1.1, _VOLTAGES
    return _moved(raw, lambda x, up: x * (factor if up else 1.0 / factor), rule)


def _kind(path: Path) -> Value | None:
    """Return how the value at ``path`` is read; None: not as an amount."""
    model: Any = System
    keys = iter(path)
    for key in keys:
        part = parts(model)[key]
        if part.kind == "value":
            return _amount(model.model_fields[part.field])
        if part.kind == "named":
            next(keys)  # the entry's name
        model = part.model
    return None


def _amount(field: FieldInfo) -> Value | None:
    found = [*field.metadata]
    for argument in get_args(field.annotation):
        found += getattr(argument, "__metadata__", ())
    return next(
        (item for item in found if isinstance(item, Quantity | Money | BatteryCapacity)), None
    )


def _odds(share: float, up: bool) -> float:
    factor = 2.0 if up else 0.5
    return factor * share / (1.0 - share + factor * share)


def _moved(raw: Any, move: Any, rule: str) -> Range | str:
    ends = [_apply(raw, move, up) for up in (False, True)]
    if any(end is None for end in ends):
        return "it has no number to vary"
    if any(end == raw for end in ends):
        return "it is at the end of its range (none or all)"
    return Range(ends[0], ends[1], rule)


def _apply(raw: Any, move: Any, up: bool) -> Any:
    if isinstance(raw, Mapping):
        moved = {
            key: value if key in _WIDTHS or _is_word(value) else _apply(value, move, up)
            for key, value in raw.items()
        }
        return None if None in moved.values() else moved
    if isinstance(raw, int | float):
        return _rounded(move(float(raw), up))
    match = _NUMBER.fullmatch(raw) if isinstance(raw, str) else None
    if match is None or ":" in match[2]:
        return None
    if match[2] == "%":
        return f"{_rounded(100.0 * move(float(match[1]) / 100.0, up)):.6g} %"
    return f"{_rounded(move(float(match[1]), up)):.6g} {match[2]}".strip()


def _is_word(value: Any) -> bool:
    return isinstance(value, str) and _NUMBER.fullmatch(value) is None


def _rounded(value: float) -> float:
    return float(f"{value:.6g}")
