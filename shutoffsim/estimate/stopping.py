"""When a run is long enough: the rule that every adaptive study follows.

In the manner of JCGM 101:2008 (Supplement 1 to the "Guide to the expression of uncertainty in
measurement"), clause 7.9, from memory: run in blocks, take the standard error of the estimate from
the spread between blocks, and stop when twice that error is within the numerical tolerance; never
before a stated minimum. Here the tolerance is stated relative to the estimate, and a block is
:data:`shutoffsim.model.streams.BLOCK` histories.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from shutoffsim.model.streams import BLOCK

_LEAST_GROWTH = 1.25  # a few more histories at a time would only spend looks
_MOST_GROWTH = 4.0  # early estimates of a heavy tail are poor guides


@dataclass(frozen=True)
class StoppingRule:
    """Stop when the standard error is a wanted share of the estimate.

    Attributes
    ----------
    relative_error : float or None
        Wanted standard error over value; None: stop at ``least``.
    least, most : int
        Histories below which it never stops, and at which it stops in any case.
    """

    relative_error: float | None
    least: int
    most: int

    def reached(self, found: float) -> bool:
        """Return whether the relative standard error ``found`` is small enough."""
        return self.relative_error is None or found <= self.relative_error

    def next_target(self, done: int, found: float) -> int:
        """Return up to how many histories to run; ``done`` when that is enough.

        Parameters
        ----------
        done : int
            Histories run so far; 0 at the start.
        found : float
            Their relative standard error; inf where it cannot be told.

        Examples
        --------
        >>> rule = StoppingRule(0.02, least=1024, most=1_000_000)
        >>> rule.next_target(0, float("inf"))
        1024
        >>> rule.next_target(1024, 0.03)
        2304
        >>> rule.next_target(2304, 0.019)
        2304
        """
        if done < self.least:
            return self.least
        if done >= self.most or self.relative_error is None or self.reached(found):
            return done
        growth = min((found / self.relative_error) ** 2, _MOST_GROWTH)
        wanted = math.ceil(done * max(growth, _LEAST_GROWTH))
        return min(-(-wanted // BLOCK) * BLOCK, self.most)
