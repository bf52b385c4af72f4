"""One number with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from scipy import special

from shutoffsim.estimate.plain import plain_fields

CONFIDENCE = 0.95
# What an empty field of a stored estimate stands for.
_UNTOLD = {"value": math.nan, "std_error": math.nan, "low": -math.inf, "high": math.inf}


@dataclass(frozen=True)
class Estimate:
    """A value with standard error and 95 % interval.

    Attributes
    ----------
    value, std_error, low, high : float
        In the unit of the quantity. ``std_error`` is nan where it is unknown; the interval is
        then a bound, or as wide as what is possible.
    """

    value: float
    std_error: float
    low: float
    high: float

    def as_dict(self) -> dict[str, float | None]:
        """Return the four numbers by name; what is unknown is None."""
        return plain_fields(self)

    @classmethod
    def from_dict(cls, data: Any) -> Estimate:
        """Return the estimate that :meth:`as_dict` was made from.

        Raises
        ------
        ValueError
            When it is something else.
        """
        if not isinstance(data, Mapping) or set(data) != set(_UNTOLD):
            raise ValueError(f"an estimate has {', '.join(_UNTOLD)}")
        numbers = {name: _UNTOLD[name] if data[name] is None else data[name] for name in _UNTOLD}
        if not all(
            isinstance(n, int | float) and not isinstance(n, bool) for n in numbers.values()
        ):
            raise ValueError("an estimate consists of numbers")
        try:
            return cls(**{name: float(number) for name, number in numbers.items()})
        except OverflowError:
            raise ValueError("a number of an estimate is too large") from None

    @classmethod
    def __get_pydantic_core_schema__(cls, _source: Any, _handler: Any) -> Any:
        """Have results that hold estimates read by :meth:`from_dict`."""
        from pydantic_core import core_schema

        return core_schema.no_info_plain_validator_function(cls.from_dict)

    def linear(self, factor: float, offset: float = 0.0) -> Estimate:
        """Return the estimate of factor x value + offset.

        >>> Estimate(10.0, 1.0, 8.0, 12.0).linear(-2.0, 5.0)
        Estimate(value=-15.0, std_error=2.0, low=-19.0, high=-11.0)
        """
        low, high = self.low * factor + offset, self.high * factor + offset
        if factor < 0.0:
            low, high = high, low
        return Estimate(self.value * factor + offset, self.std_error * abs(factor), low, high)

    def __neg__(self) -> Estimate:
        """Return the estimate of the opposite: a difference becomes a reduction."""
        return self.linear(-1.0)

    @classmethod
    def exact(cls, value: float) -> Estimate:
        """Return a value that is certain.

        >>> Estimate.exact(1.0)
        Estimate(value=1.0, std_error=0.0, low=1.0, high=1.0)
        """
        return cls(value, 0.0, value, value)

    @property
    def certain(self) -> bool:
        """Whether nothing about it is left to chance."""
        return self.std_error == 0.0 and self.low == self.value == self.high

    @property
    def bounded(self) -> bool:
        """Whether nothing was seen of a spread, and the interval is a bound of what was missed."""
        return not self.std_error > 0.0 and self.low < self.high

    @property
    def error(self) -> float:
        """Standard error, or a quarter of the interval where that is all that can be told."""
        if math.isfinite(self.std_error) and not self.bounded:
            return self.std_error
        if math.isfinite(self.high - self.low):
            return (self.high - self.low) / 4.0
        return math.inf

    @property
    def relative_error(self) -> float:
        """Error over value; 0 for a value that is certain, inf for a zero that is not."""
        if self.certain:
            return 0.0
        return self.error / abs(self.value) if self.value else math.inf


def t_factor(n: int) -> float:
    """Return the 97.5 % quantile of Student's t for a mean of ``n`` values; inf for n < 2."""
    if n < 2:
        return math.inf
    return float(special.stdtrit(n - 1, 0.5 + CONFIDENCE / 2.0))


def with_interval(
    value: float, std_error: float, n: int, least: float = -math.inf, most: float = math.inf
) -> Estimate:
    """Return an estimate from ``n`` independent values, its interval kept within [least, most]."""
    value, std_error = float(value), float(std_error)
    if n < 2 or not math.isfinite(std_error):
        return Estimate(value, math.nan, least, most)
    half = t_factor(n) * std_error
    return Estimate(value, std_error, max(value - half, least), min(value + half, most))
