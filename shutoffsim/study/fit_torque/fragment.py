"""What readings say of a valve, in the words of a scenario file."""

from __future__ import annotations

import math
import textwrap

import numpy as np

from shutoffsim.model.layout import YEAR
from shutoffsim.model.valve import WEEK, age_growth, idle_growth
from shutoffsim.study.fit_torque.belief import Array, Belief

_Z95 = 1.6448536269514722  # standard normal quantile at 95 %
_LEAST_SPREAD, _MOST_SPREAD = 1.001, 100.0
_LEAST_SHARE = 0.01


def write_fragment(
    belief: Belief,
    *,
    age: float,
    rest: float,
    closing_read: bool,
    origin: str,
    day: str,
) -> str:
    """Write the table ``valve`` of a scenario, as TOML.

    A scenario draws each value for itself, while readings know some combinations of them far
    better than each one. So the valve is described as it is now, which loses nothing because the
    law is linear in age: new means the day of the last reading. What is not known of growth with
    rest goes into the torque, at the rest that the readings had; and where closing was read, what
    is not known of its share goes into the torque too.

    Parameters
    ----------
    belief : Belief
    age : float
        Of the valve at the last reading, s.
    rest : float
        Typical of the readings, s.
    closing_read : bool
        Whether any reading was of closing.
    origin, day : str
        What the readings are, and the date of the last one.
    """
    grown = age_growth(belief.age_factor, age, belief.age_reference)
    c = float(np.median(belief.idle_growth))
    at_rest = idle_growth(belief.idle_growth, rest, belief.idle_cap)
    typical = float(idle_growth(c, rest, belief.idle_cap))
    now = belief.level * grown * at_rest / typical
    share = float(np.median(belief.closing_share))
    if closing_read:
        now = now * belief.closing_share / share
    lines = [
        *_comment(origin),
        "# Paste this into a scenario; where these keys exist already, replace them.",
        "[valve]",
        f"# The valve as it is on {day}: age counts from that day.",
        f"breakaway = {_spread(now, ' N*m')}",
        'age = "0 years"',
        f"age_factor = {_factor((belief.age_factor - 1.0) / grown)}",
        f'age_reference = "{belief.age_reference / YEAR:.6g} years"',
        f"idle_growth = {c:.3g}"
        f"  # with breakaway it fits the readings after {rest / WEEK:.3g} weeks of rest",
        f"idle_cap = {belief.idle_cap:.6g}",
    ]
    if closing_read:
        scatter = float(np.median(belief.scatter))
        width = math.sqrt(3.0) * scatter  # of an even spread with this standard deviation
        low, high = max(share * (1.0 - width), _LEAST_SHARE), min(share * (1.0 + width), 1.0)
        lines += [
            "# Only the product breakaway x closing_share matters. The range of the share is the "
            "scatter of",
            "# the readings, all of it taken as differences between strokes and none as gauge "
            "error.",
            f'closing_share = {{low = {low:.3g}, high = {high:.3g}, shape = "even"}}',
        ]
    return "\n".join(lines) + "\n"


def _comment(text: str) -> list[str]:
    """Return a text as comment lines of TOML, without control signs."""
    clean = "".join(sign if sign.isprintable() else "?" for sign in text)
    return [f"# {line}" for line in textwrap.wrap(clean, 94, break_on_hyphens=False)]


def _spread(draws: Array, unit: str) -> str:
    """Return the log-normal distribution of :func:`_lognormal` as TOML."""
    middle, spread = _lognormal(draws)
    return f'{{median = "{middle:.3g}{unit}", spread = {spread:.4g}}}'


def _factor(added: Array) -> str:
    """Return the age factor that exceeds 1 by so much, likewise."""
    if np.median(added) <= 0.0:
        return "1"
    middle, spread = _lognormal(added)
    return f"{{least = 1, median = {1.0 + middle:.4g}, spread = {spread:.4g}}}"


def _lognormal(draws: Array) -> tuple[float, float]:
    """Return median and spread of the log-normal with the median and 95 % quantile of draws.

    So the stiff side is right, which decides.
    """
    middle, high = (float(x) for x in np.quantile(draws, [0.5, 0.95]))
    return middle, float(np.clip((high / middle) ** (1.0 / _Z95), _LEAST_SPREAD, _MOST_SPREAD))
