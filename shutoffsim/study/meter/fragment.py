"""The part of a scenario that follows from a meter's record."""

from __future__ import annotations

import math
from typing import NamedTuple

from shutoffsim.errors import printable
from shutoffsim.study.meter.rates import Rate


class Limits(NamedTuple):
    """Gap tolerance and limits of a rule, as texts with units."""

    gap: str
    time: str
    volume: str


def write_fragment(
    limits: Limits,
    *,
    count: int,
    rate: Rate,
    smallest_leak: float,
    pulse_volume: float | None,
    source: str,
    days: float,
    span: str,
) -> str:
    """Write the tables ``flow_rule`` and ``nuisance`` of a scenario, as TOML.

    Parameters
    ----------
    limits : Limits
    count : int
        Runs that would have tripped the rule.
    rate : Rate
        The same per year.
    smallest_leak : float
        L/min; not-a-number when it cannot be known.
    pulse_volume : float or None
        Litres.
    source, span : str
        The file, and from when to when it goes.
    days : float
        Covered days.
    """
    seen = f"{count} in" if count else "none in"
    chance = "" if count else "; the estimate has even odds of seeing none, 0.69 over that time"
    lines = [
        f"# From the record {printable(source)}, {span}.",
        "# Paste this into a scenario; where these tables exist already, replace their keys.",
        "[flow_rule]",
        "# A design uses the rule when it has: flow_rule.fitted = true",
        f'time = "{limits.time}"',
        f'volume = "{limits.volume}"',
    ]
    if pulse_volume is None:
        lines.append("# pulse_volume: not in the record; state your meter's")
    else:
        lines.append(f'pulse_volume = "{pulse_volume:.6g} L"')
    if math.isfinite(smallest_leak):
        lines.append(
            f'flow = "{_number(smallest_leak)} L/min"  '
            f"# smallest leak seen when pauses up to {limits.gap} do not end a run"
        )
    else:
        lines.append(f"# flow: not known; pauses up to {limits.gap} do not end a run")
    lines += [
        "",
        "[nuisance]",
        f"# {seen} {_number(days)} days; 95 %: {_bounds(rate)} a year{chance}",
        f'rule_rate = "{_number(rate.per_year)} per year"',
    ]
    return "\n".join(lines) + "\n"


def _bounds(rate: Rate) -> str:
    if rate.low == 0:
        return f"at most {_number(rate.high)}"
    return f"{_number(rate.low)} to {_number(rate.high)}"


def _number(value: float) -> str:
    """Three digits that count, never as a power of ten in the usual range."""
    if value == 0 or not 1e-4 <= value < 1e9:
        return f"{value:.3g}"
    digits = 2 - math.floor(math.log10(value))
    text = f"{round(value, digits):.{max(digits, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
