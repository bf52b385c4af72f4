"""What a reader must know to use a fit of torque, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from shutoffsim.model import quantiles
from shutoffsim.model.layout import YEAR
from shutoffsim.records import Header
from shutoffsim.study.fit_torque.agreement import Check
from shutoffsim.study.fit_torque.law import Data
from shutoffsim.study.fit_torque.rows import NOT_MOVED
from shutoffsim.study.fit_torque.sampler import ENOUGH
from shutoffsim.study.fit_torque.setting import Setting
from shutoffsim.study.fit_torque.times import Complete
from shutoffsim.study.words import duration

_FAR = 2.5  # standard deviations of the prior
_FEW = 3


def write_notes(
    header: Header,
    rows: Sequence[Complete],
    data: Data,
    setting: Setting,
    *,
    valve: str | None,
    age: float,
    left: float,
    off: float,
    alone: bool,
    checks: Sequence[Check],
    effective: float,
) -> tuple[str, ...]:
    """Write the notes of a fit.

    Parameters
    ----------
    header, rows, data, setting
        What was read, and what was believed before.
    valve : str or None
        Whose torque is reported; None: another valve like those that were read.
    age : float
        Its age now, s.
    left : float
        Standard deviation of the logarithm of torque now, as a share of that before.
    off : float
        How far the level is from the middle of the prior, in its standard deviations.
    alone : bool
        Whether the readings alone determine a fit.
    checks : sequence of Check
    effective : float
        Effective sample size.
    """
    n = len(rows)
    notes = []
    if n == 1:
        notes.append(
            "One reading: it updates today's torque only; everything else is still the prior. "
            "Readings after other rests, and of closing, would update the rest."
        )
    elif n <= _FEW:
        notes.append(f"{n} readings: most of the width of the intervals comes from the prior.")
    notes.append(
        f"The uncertainty of the torque to close now is {100.0 * left:.0f} % of that of the prior "
        "(standard deviation of the logarithm)."
    )
    notes += _limits(rows, data)
    if not alone:
        notes.append(
            "The readings alone do not determine a fit; the result leans on the prior "
            f"({setting.source})."
        )
    if abs(off) > _FAR:
        way = "above" if off > 0.0 else "below"
        notes.append(
            f"These readings lie far {way} the prior ({abs(off):.1f} standard deviations from its "
            "median): check the units, the lever and the type of valve."
        )
    notes += [
        f"Doubtful: {check.if_small} (p = {check.p:.2g})." for check in checks if check.doubtful
    ]
    if not checks:
        notes.append("Too few readings to check whether the law fits them.")
    notes += _conditions(rows, data, setting, valve, age)
    if effective < ENOUGH:
        notes.append(
            f"Only {effective:.0f} effective draws: the intervals are rough. Fit fewer valves at "
            "once."
        )
    if header.unused:
        notes.append(f"Columns not used: {', '.join(header.unused)}.")
    return tuple(notes)


def _limits(rows: Sequence[Complete], data: Data) -> list[str]:
    notes = []
    if np.all(np.isinf(data.high)):
        notes.append(
            "No reading moved the valve: they are all lower limits. A reading that moves it bounds "
            "the torque from above."
        )
    elif np.all(np.isinf(data.low)):
        notes.append("All readings are upper limits: they do not bound the torque from below.")
    if any(row.reading.outcome == NOT_MOVED for row in rows):
        notes.append(
            "A valve that did not move is treated as stiff. It may have seized, which this fit "
            "cannot detect and no torque here would overcome."
        )
    return notes


def _conditions(
    rows: Sequence[Complete], data: Data, setting: Setting, valve: str | None, age: float
) -> list[str]:
    notes = []
    if setting.prior.level[0] == quantiles.FIXED:
        notes.append(
            "The scenario states breakaway as one number, so readings cannot change it: write a "
            'spread, such as breakaway = {median = "4 N*m", spread = 1.8}, and fit again.'
        )
    if valve is None:
        notes.append(
            f"{len(data.valves)} valves were read; the torque reported is that of another valve "
            "like them. Name one with --valve for its own."
        )
    if not np.any(data.closing):
        notes.append(
            f"No reading is of closing: the closing share is still that of {setting.source}."
        )
    elif np.all(data.closing):
        notes.append(
            "All readings are of closing: the closing torque is better known than the opening "
            "torque."
        )
    if np.ptp(data.age) < 2.0 * YEAR:
        notes.append(
            "The ages are too close together to show how torque grows with age: that is still the "
            "prior."
        )
    aged = {row.reading.valve for row in rows if row.age_stated}
    ageless = [name for name in data.valves if name not in aged]
    if ageless:
        notes.append(
            f"No age is stated for {', '.join(ageless[:5])}: {setting.source} says "
            f"{duration(setting.age)}."
        )
    if setting.scenario is not None and abs(age - setting.age) > 2.0 * YEAR:
        notes.append(
            f"The valve is {duration(age)} old by the readings and {duration(setting.age)} by the "
            "scenario: correct the one that is wrong."
        )
    if np.any(data.gauge):
        notes.append(
            "Torque from motor current relies on the data sheet, within the spread between units; "
            "wear and temperature of the actuator are ignored."
        )
    return notes
