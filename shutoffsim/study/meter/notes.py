"""What a reader must know to use the numbers of a record, in sentences."""

from __future__ import annotations

from shutoffsim import units
from shutoffsim.records import Header
from shutoffsim.records.times import SECOND
from shutoffsim.study.meter.flow import Account
from shutoffsim.study.meter.traits import Traits

_SHORT = 30.0  # days
_YEAR = 365.0
_LONG_RUN = 12 * 3600.0  # seconds


def write_notes(
    header: Header,
    traits: Traits,
    account: Account,
    *,
    hole: int,
    shortest_gap: float,
    shortest_time: float,
    longest_run: float,
    days: float,
    covered_given: bool,
    leak_known: bool,
    pulse_known: bool,
) -> tuple[str, ...]:
    """Write the notes of a report.

    Parameters
    ----------
    header, traits, account
        What was read.
    hole : int
        Microseconds beyond which a pause is not recorded time.
    shortest_gap, shortest_time : float
        Seconds: smallest gap tolerance above zero (infinity without one) and smallest limit.
    longest_run : float
        Seconds, at the widest gap tolerance.
    days : float
        Covered days.
    covered_given : bool
        Whether the covered time was stated by the user.
    leak_known : bool
        Whether the smallest leak is known.
    pulse_known : bool
        Whether the litres per pulse are known.
    """
    return (
        *_about_lengths(header, traits, account, shortest_gap, shortest_time),
        *_about_cover(traits, account, hole, days, covered_given),
        *_about_trips(longest_run),
        *_about_leaks(leak_known, pulse_known),
        *_about_reading(header, traits),
    )


def _about_lengths(
    header: Header, traits: Traits, account: Account, shortest_gap: float, shortest_time: float
) -> list[str]:
    interval = traits.interval / SECOND
    shown = _time(interval)
    notes = []
    if header.form == "pulses":
        notes.append(
            f"A pulse's time stands for a slot of {shown}; a run lasts from its first pulse to its "
            "last one and one slot more, so the flow itself may have begun up to a pulse earlier."
        )
    elif traits.pace == "on change":
        notes.append(
            "Rows are not evenly spaced: each flow is taken to hold until the next row, so a lost "
            "row makes a run longer than it was."
        )
        return notes
    elif header.form == "flow samples":
        notes.append(
            f"A sample stands for the time until the next one, usually {shown}; lengths of runs "
            "are whole numbers of samples."
        )
    if header.form != "runs":
        if interval * 5 > shortest_time:
            notes.append(
                f"With {shown} between samples, short uses look as long as a sample: counts at "
                f"limits below {_time(5 * interval)} are too high."
            )
        return notes
    if interval >= shortest_gap:
        notes.append(
            f"Starts are rounded to {shown}, so shorter gap tolerances cannot be distinguished."
        )
    closest = account.closest
    if closest is not None and closest > max(traits.interval, SECOND):
        apart = _time(closest / SECOND)
        notes.append(
            f"No pause between runs is shorter than {apart}: the file seems to have joined what "
            "was closer, so runs at shorter gap tolerances are joined already and their counts "
            "are unknown."
        )
    return notes


def _about_cover(
    traits: Traits, account: Account, hole: int, days: float, covered_given: bool
) -> list[str]:
    notes = []
    hole_days = account.hole_time / SECOND / 86400
    if covered_given:
        notes.append(f"The covered time of {days:.4g} days was stated, not read from the file.")
    elif traits.pace == "flow only":
        found = (
            f"{_plural(account.holes, 'such pause')} ({hole_days:.4g} days) "
            f"{'is' if account.holes == 1 else 'are'} left out"
            if account.holes
            else "there is none"
        )
        notes.append(
            "Time without flow is not in the file, so a stopped recorder looks the same as a house "
            f"without flow. Only pauses over {_time(hole / SECOND)} are taken as not recorded: "
            f"{found}. State the covered time if you know it."
        )
    elif account.holes:
        notes.append(
            f"{_plural(account.holes, 'hole')} over {_time(hole / SECOND)} "
            f"({_time(account.hole_time / SECOND)} in all) "
            f"{'is' if account.holes == 1 else 'are'} not counted as recorded."
        )
    if days < _SHORT:
        notes.append(
            f"{days:.3g} days say little about a year: washing days, guests, watering and trips "
            "may all be missing, and the intervals only cover chance."
        )
    elif days < _YEAR:
        notes.append("The record is shorter than a year: seasons may be missing.")
    return notes


def _about_trips(longest_run: float) -> list[str]:
    notes = [
        "Every trip is taken as a false alarm, and trips as independent of each other; watering by "
        "a timer is regular, so its interval is wider than necessary."
    ]
    if longest_run > _LONG_RUN:
        notes.append(
            f"The longest run lasts {_time(longest_run)}: it may be a leak, in which case its "
            "trips are justified."
        )
    return notes


def _about_leaks(leak_known: bool, pulse_known: bool) -> list[str]:
    if not leak_known:
        return [
            "The smallest leak that a rule sees depends on the litres per pulse, which this file "
            "does not give; state them."
        ]
    if not pulse_known:
        return [
            "Without litres per pulse, the smallest leak is the smallest flow seen in the record."
        ]
    return []


def _about_reading(header: Header, traits: Traits) -> list[str]:
    notes = []
    if not traits.form.absolute and not traits.form.name.startswith("ISO"):
        notes.append(f"Times are read as {traits.form.name}.")
    if traits.decimal_comma:
        notes.append("Commas in numbers are read as decimal points.")
    if header.unused:
        notes.append(f"Columns not used: {', '.join(header.unused)}.")
    return notes


def _time(seconds: float) -> str:
    return units.format(seconds, "time")


def _plural(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
