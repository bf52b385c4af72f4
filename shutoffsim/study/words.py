"""Amounts in words, with the units of the trade."""

from __future__ import annotations

import math

from shutoffsim.model.layout import YEAR

LITRE = 1e-3
_STEPS = (("years", YEAR, 2 * YEAR), ("days", 86400.0, 2 * 86400.0), ("h", 3600.0, 7200.0),
          ("min", 60.0, 120.0))  # fmt: skip


def duration(seconds: float) -> str:
    """Return a time span [s] in words.

    >>> duration(14.2), duration(200.0), duration(3e5), duration(float("inf"))
    ('14 s', '3.3 min', '3.5 days', 'never')
    """
    if not math.isfinite(seconds):
        return "never"
    for name, length, least in _STEPS:
        if seconds >= least:
            return f"{_short(seconds / length)} {name}"
    return f"{_short(seconds)} s" if seconds < 10.0 else f"{seconds:.0f} s"


def volume(cubic_metres: float) -> str:
    """Return a volume [m3] in litres, or in cubic metres when it is large.

    >>> volume(0.0123), volume(54.2)
    ('12.3 L', '54.2 m3')
    """
    if cubic_metres >= 10.0:
        return f"{cubic_metres:,.3g} m3" if cubic_metres < 1000.0 else f"{cubic_metres:,.0f} m3"
    litres = cubic_metres / LITRE
    return f"{litres:,.0f} L" if litres >= 100.0 else f"{litres:.3g} L"


def flow(cubic_metres_per_second: float) -> str:
    """Return a flow [m3/s] in litres per minute.

    >>> flow(3e-4)
    '18 L/min'
    """
    return f"{cubic_metres_per_second * 60.0 / LITRE:.2g} L/min"


def torque(newton_metres: float) -> str:
    """Return a torque [N*m].

    >>> torque(3.456)
    '3.5 N*m'
    """
    return f"{newton_metres:.2g} N*m"


def _short(value: float) -> str:
    return f"{value:.2g}" if value < 10.0 else f"{value:.0f}"
