"""Estimates in honest digits: no more than their errors support."""

from __future__ import annotations

import math

from shutoffsim.estimate.estimate import Estimate

_MOST_DIGITS = 11  # behind the first: more are rounding
_MOST_DECIMALS, _LEAST_SIZE = 6, -4  # zeros behind the point that a person still counts


def interval_words(e: Estimate, of: str = "") -> str:
    """Return the interval of an estimate in words.

    >>> interval_words(Estimate(120.0, 5.0, 110.0, 130.0)), interval_words(Estimate.exact(3.0))
    ('95 % interval 110 to 130', 'certain')
    """
    if e.certain:
        return "certain"
    if not (math.isfinite(e.low) and math.isfinite(e.high)):
        return "interval unknown"
    return f"95 % interval {of}{ends(e)}"


def ends(e: Estimate, factor: float = 1.0) -> str:
    """Return "low to high" in honest digits.

    >>> ends(Estimate(120.0, 5.0, 110.0, 130.0)), ends(Estimate(0.0, math.nan, 0.0, 0.0525))
    ('110 to 130', '0 to 0.05')
    """
    low, high = sorted((factor * e.low, factor * e.high))
    error = abs(factor) * e.error
    least = amount(low, 0.0 if e.bounded and low == 0.0 else error)
    return f"{least} to {amount(high, error)}"


def told(e: Estimate, factor: float = 1.0) -> str:
    """Return the value of an estimate with no more digits than its error supports.

    >>> told(Estimate(0.091, 0.001, 0.089, 0.093), 100.0), told(Estimate(0.0, math.nan, 0.0, 0.05))
    ('9.1', '0')
    """
    certain = e.bounded and e.value == 0.0  # nothing seen is shown as nothing
    return amount(factor * e.value, 0.0 if certain else abs(factor) * e.error)


def amount(value: float, std_error: float) -> str:
    """Return a number with no more digits than its standard error supports.

    >>> amount(1234.567, 8.0)
    '1,235'
    >>> amount(1234.567, 300.0)
    '1,230'
    >>> amount(-0.0, 0.0), amount(6.6e-12, 3e-13)
    ('0', '6.6e-12')
    """
    if not math.isfinite(value):
        return "unknown"
    size = math.floor(math.log10(abs(value))) if value else 0
    if not math.isfinite(std_error) or std_error <= 0.0:
        return f"{value + 0.0:,.4g}" if abs(value) < 1000 else f"{value:,.0f}"
    digits = -math.floor(math.log10(std_error))
    if digits < 0:
        digits += 1  # one digit of the error stays readable
    if value:
        digits = min(digits, _MOST_DIGITS - size)
    if value and digits > _MOST_DECIMALS and size < _LEAST_SIZE:
        return f"{value:.{max(digits + size, 0)}e}"
    rounded = round(value, digits)
    return f"{rounded + 0.0:,.{max(digits, 0)}f}"
