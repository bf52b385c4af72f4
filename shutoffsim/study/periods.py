"""Return periods: once in how many years on average a year is worse."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from shutoffsim.errors import ModelError

LONGEST: Final = 10_000.0  # years
MOST: Final = 20


def checked_periods(periods: Sequence[float]) -> tuple[float, ...]:
    """Return return periods [years] in rising order, each once.

    Raises
    ------
    ModelError
        When there are none or too many, or one is no longer than a year or too long.

    Examples
    --------
    >>> checked_periods([200, 20, 200])
    (20, 200)
    """
    wrong = [p for p in periods if not (math.isfinite(p) and 1.0 < p <= LONGEST)]
    if wrong:
        raise ModelError(
            "a return period is out of range",
            found=f"{wrong[0]:g} years",
            expected=f"more than 1 and up to {LONGEST:,.0f} years",
        )
    found = tuple(sorted(set(periods)))
    if not 1 <= len(found) <= MOST:
        raise ModelError(
            "the number of return periods is out of range",
            found=str(len(found)),
            expected=f"1 to {MOST}",
        )
    return found
