"""Run until a result is stable to the digits that will be stated.

The adaptive Monte Carlo procedure of JCGM 101:2008 (Evaluation of measurement data, Supplement 1
to the "Guide to the expression of uncertainty in measurement"), clause 7.9; clause numbers from
memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from shutoffsim.errors import ModelError

Array = NDArray[np.float64]
Interval = Literal["symmetric", "shortest"]

LEAST_BLOCK = 10_000
LEAST_BLOCKS = 2  # as in the document; more make the standard errors themselves trustworthy
MOST_BLOCKS = 10_000
FIGURES = ("mean", "std", "low", "high")


@dataclass(frozen=True)
class StableResult:
    """Mean, standard deviation and coverage interval of a quantity, from all values drawn.

    Attributes
    ----------
    mean, std, low, high : float
        In the unit of the quantity; ``low`` and ``high`` bound the coverage interval.
    std_errors : dict of str to float
        Of these four, from the spread between blocks.
    tolerance : float
        What twice each standard error had to fall below: half a unit in the last stated digit of
        ``std``.
    blocks, values : int
        How many blocks and values were drawn.
    reached : bool
        False when the greatest number of blocks did not suffice.
    """

    mean: float
    std: float
    low: float
    high: float
    std_errors: dict[str, float]
    tolerance: float
    blocks: int
    values: int
    reached: bool


def numerical_tolerance(value: float, digits: int) -> float:
    """Return half a unit in the last place of ``value`` stated with ``digits`` digits.

    JCGM 101:2008, 7.9.2: value = c 10^l with c an integer of ``digits`` digits; half of 10^l.

    Examples
    --------
    >>> numerical_tolerance(0.00035, 2)
    5e-06
    >>> numerical_tolerance(0.0, 2)
    0.0
    """
    if value == 0.0 or not math.isfinite(value):
        return 0.0
    place = math.floor(math.log10(abs(value))) - (digits - 1)
    if round(abs(value) / 10.0**place) >= 10**digits:  # 9.96 in two digits is 10
        place += 1
    return 0.5 * 10.0**place


def block_size(share: float) -> int:
    """Return how many values a block needs for an interval of this share (7.9.4 b).

    Examples
    --------
    >>> block_size(0.95)
    10000
    """
    return max(math.ceil(100.0 / (1.0 - share) - 1e-9), LEAST_BLOCK)


def coverage_interval(
    values: Array, share: float = 0.95, interval: Interval = "symmetric"
) -> tuple[float, float]:
    """Return the ends of an interval that holds a share of the values (7.7).

    Parameters
    ----------
    values : array (m,)
    share : float
    interval : {"symmetric", "shortest"}
        With equal shares outside on both sides, or the shortest there is.
    """
    ordered = np.sort(values)
    m = len(ordered)
    q = min(int(share * m + 0.5), m - 1)
    if interval == "shortest":
        first = int(np.argmin(ordered[q:] - ordered[: m - q]))
    else:
        first = max(int((m - q) / 2.0 + 0.5) - 1, 0)
        first = min(first, m - 1 - q)
    return float(ordered[first]), float(ordered[first + q])


def summary(values: Array, share: float = 0.95, interval: Interval = "symmetric") -> Array:
    """Return mean, standard deviation and both ends of the interval of values, as an array."""
    low, high = coverage_interval(values, share, interval)
    return np.array([values.mean(), values.std(ddof=1), low, high])


def tolerance_ratio(blocks: Sequence[Array] | Array, std: float, digits: int) -> float:
    """Return the largest 2 s / tolerance of the figures: the result is stable at 1 and below.

    Parameters
    ----------
    blocks : array (h, k)
        Figures of each of h blocks, such as :func:`summary` gives.
    std : float
        Standard deviation that is stated with ``digits`` digits.
    digits : int

    Returns
    -------
    float
        inf for fewer than two blocks.
    """
    tolerance = numerical_tolerance(std, digits)
    worst = 2.0 * float(np.max(block_errors(blocks)))
    if worst == 0.0:
        return 0.0
    return worst / tolerance if tolerance > 0.0 else math.inf


def block_errors(blocks: Sequence[Array] | Array) -> Array:
    """Return the standard error of the mean over blocks of each figure; inf for one block."""
    table = np.asarray(blocks, float)
    h = len(table)
    if h < 2:
        return np.full(table.shape[1], math.inf)
    return np.asarray(np.sqrt(((table - table.mean(axis=0)) ** 2).sum(axis=0) / (h * (h - 1))))


def run_until_stable(
    sample_block: Callable[[int], Array],
    *,
    digits: int = 2,
    share: float = 0.95,
    interval: Interval = "symmetric",
    least_blocks: int = LEAST_BLOCKS,
    most_blocks: int = MOST_BLOCKS,
) -> StableResult:
    """Draw blocks of values until mean, spread and interval are all stable.

    After h blocks, s is the standard error of the mean over blocks of each of the four figures.
    It ends when 2 s of all four is within half a unit in the last of the ``digits`` significant
    digits of the standard deviation of all values; never before ``least_blocks``.

    Parameters
    ----------
    sample_block : callable
        ``sample_block(number)`` returns the values of block 0, 1, ...; all of one length, at least
        :func:`block_size` of ``share``, independent between blocks.
    digits : int
        Meaningful digits of the standard deviation, 1 to 4.
    share : float
        Of the values inside the interval.
    interval : {"symmetric", "shortest"}
    least_blocks : int
        At least 2. Standard errors from two blocks are rough, and stopping as soon as they look
        small flatters them: take 20 or more where they are to be quoted.
    most_blocks : int
        Where to give up; the result then says so.

    Returns
    -------
    StableResult

    Raises
    ------
    ModelError
        When an argument is out of range, a block is too short or holds what is no number.
    """
    _check(digits, share, interval, least_blocks, most_blocks)
    least = block_size(share)
    drawn: list[Array] = []
    figures: list[Array] = []
    for number in range(most_blocks):
        values = np.asarray(sample_block(number), float)
        if values.ndim != 1 or len(values) < least or (drawn and len(values) != len(drawn[0])):
            raise ModelError(
                "a block of the wrong size",
                where=f"block {number}",
                found=f"shape {values.shape}",
                expected=f"one length for all blocks, at least {least:,} values",
            )
        if not np.all(np.isfinite(values)):
            raise ModelError("values that are no numbers", where=f"block {number}")
        drawn.append(values)
        figures.append(summary(values, share, interval))
        if number + 1 < least_blocks:
            continue
        if tolerance_ratio(figures, _pooled_std(np.array(figures), len(values)), digits) <= 1.0:
            break
    together = np.concatenate(drawn)
    mean, std, low, high = (float(x) for x in summary(together, share, interval))
    errors = block_errors(figures)
    return StableResult(
        mean=mean,
        std=std,
        low=low,
        high=high,
        std_errors=dict(zip(FIGURES, (float(e) for e in errors), strict=True)),
        tolerance=numerical_tolerance(std, digits),
        blocks=len(drawn),
        values=len(together),
        reached=tolerance_ratio(figures, std, digits) <= 1.0,
    )


def _pooled_std(figures: Array, m: int) -> float:
    """Return the standard deviation of all values, from mean and deviation of blocks of ``m``."""
    means, deviations = figures[:, 0], figures[:, 1]
    squares = (m - 1) * (deviations**2).sum() + m * ((means - means.mean()) ** 2).sum()
    return math.sqrt(squares / (m * len(figures) - 1))


def _check(digits: int, share: float, interval: str, least_blocks: int, most_blocks: int) -> None:
    wrong: tuple[str, object, str] | None = None
    if digits not in (1, 2, 3, 4):
        wrong = ("digits", digits, "1 to 4")
    elif not 0.5 <= share <= 0.9999:
        wrong = ("share", share, "0.5 to 0.9999")
    elif interval not in ("symmetric", "shortest"):
        wrong = ("interval", interval, "symmetric or shortest")
    elif least_blocks < 2:
        wrong = ("least_blocks", least_blocks, "at least 2")
    elif most_blocks < least_blocks:
        wrong = ("most_blocks", most_blocks, f"at least least_blocks, {least_blocks}")
    if wrong is not None:
        raise ModelError(f"{wrong[0]} is out of range", found=str(wrong[1]), expected=wrong[2])
