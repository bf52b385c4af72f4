"""The smallest leak that a rule can catch on this meter."""

from __future__ import annotations

import math

from shutoffsim.study.meter.flow import MINUTE
from shutoffsim.study.meter.run_rows import RunStream
from shutoffsim.study.meter.samples import SampleStream


def pulse_volume(stream: SampleStream | RunStream, litres_per_pulse: float | None) -> float | None:
    """Litres per pulse [L]: the largest in the record, else as stated; None: not known."""
    if isinstance(stream, SampleStream) and stream.pulse_volume > 0:
        return stream.pulse_volume
    return litres_per_pulse


def find_smallest_leaks(
    stream: SampleStream | RunStream,
    pauses: dict[str, int],
    litres_per_pulse: float | None,
    starting_flow: float,
) -> dict[str, float]:
    """Smallest steady flow [L/min] that keeps a run going, by gap tolerance.

    Its pulses must come within the tolerance: pulse volume / flow <= gap. Neighbouring slots
    join at any tolerance, so the gap is never taken shorter than a slot.

    Parameters
    ----------
    stream
        The record, read to its end.
    pauses : dict of str to int
        Gap tolerances in microseconds by their text.
    litres_per_pulse : float or None
        As stated by the user.
    starting_flow : float
        L/min; the meter does not move below it.
    """
    pulse = pulse_volume(stream, litres_per_pulse)
    interval = stream.traits.interval
    leaks = {}
    for text, pause in pauses.items():
        if pulse is not None:
            least = pulse / (max(pause, interval) / MINUTE)
        else:
            least = stream.account.smallest_flow
        leaks[text] = max(starting_flow, least) if math.isfinite(least) else math.nan
    return leaks
