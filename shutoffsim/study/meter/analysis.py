"""Read a record once and count."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from shutoffsim import units
from shutoffsim.errors import RecordError, UnitError
from shutoffsim.records import Header, open_records
from shutoffsim.records.files import Progress
from shutoffsim.records.kinds import METER
from shutoffsim.records.reader import BLOCK
from shutoffsim.records.times import SECOND, show_time
from shutoffsim.scenario import library
from shutoffsim.study.meter.flow import NANOLITRE, Pieces
from shutoffsim.study.meter.leaks import find_smallest_leaks, pulse_volume
from shutoffsim.study.meter.notes import write_notes
from shutoffsim.study.meter.result import MeterReport
from shutoffsim.study.meter.run_rows import RunStream
from shutoffsim.study.meter.runs import Joiner, LabelTally, Tally
from shutoffsim.study.meter.samples import SampleStream
from shutoffsim.study.meter.tables import Counted, tabulate_labels
from shutoffsim.study.meter.traits import REACH, learn_traits

GAPS = ("0 s", "60 s", "300 s")
TIMES = ("5 min", "10 min", "15 min", "20 min", "30 min", "45 min", "60 min", "120 min")
VOLUMES = ("50 L", "100 L", "150 L", "250 L", "500 L")
PAUSE = "14 days"
_DAY = 86_400 * SECOND
_MOST_LIMITS = 50
_LITRES_PER_MINUTE = 60_000  # in a cubic metre per second


def analyse_meter(
    path: str | os.PathLike[str],
    *,
    litres_per_pulse: float | None = None,
    gaps: Sequence[str] = GAPS,
    times: Sequence[str] = TIMES,
    volumes: Sequence[str] = VOLUMES,
    slot: str | None = None,
    hole: str | None = None,
    covered: str | None = None,
    starting_flow: str | None = None,
    time_format: str | None = None,
    block_bytes: int = BLOCK,
    progress: Progress | None = None,
) -> MeterReport:
    """Count the runs of flow in a meter's record, and how often rules would have tripped.

    Parameters
    ----------
    path : str or path
        A CSV file with a header, plain or packed with gzip; see docs/meter.md for the columns.
    litres_per_pulse : float, optional
        Litres; needed for pulses without such a column, and used for the smallest leak of the
        other kinds.
    gaps : sequence of str
        Gap tolerances: pauses up to this long do not end a run.
    times, volumes : sequence of str
        Limits of the rules "longer than" and "more than".
    slot : str, optional
        Sampling interval, or the time that a pulse's stamp stands for; found from the first
        rows when left out.
    hole : str, optional
        A longer pause is a hole in the recording. When left out: five intervals where intervals
        without flow are recorded too, else 14 days.
    covered : str, optional
        Recorded time, when it is known better than the file shows it.
    starting_flow : str, optional
        Flow at which the meter starts; the library's default when left out.
    time_format : str, optional
        Pattern of the times in the manner of ``strptime`` when they are not ISO 8601.
    block_bytes : int
        Text held at a time; the result does not depend on it.
    progress : callable, optional
        Called with the bytes read so far and in all.

    Returns
    -------
    MeterReport

    Raises
    ------
    RecordError
        When the file is not a record that can be analysed, or an argument does not fit it.
    UnitError
        When an argument is not a number with a unit.
    """
    where = str(path)
    pauses = _read_limits(gaps, "time", SECOND, "gaps")
    limits = _read_limits(times, "time", SECOND, "times", above=True)
    amounts = _read_limits(volumes, "volume", 1e3 / NANOLITRE, "volumes", above=True)
    least_flow = _read_starting_flow(starting_flow)
    if litres_per_pulse is not None and not 1e-6 <= litres_per_pulse <= 1e6:
        raise RecordError.of(
            "litres per pulse are out of range",
            found=str(litres_per_pulse),
            expected="litres, such as 0.25, 1 or 10",
        )
    records = open_records(Path(path), METER)
    header = records.header
    _need_litres(header, litres_per_pulse, where)
    traits = learn_traits(
        records, time_format=time_format, slot=_micros(slot, "slot") if slot else None
    )
    usual_hole = REACH * traits.interval if traits.pace == "regular" else _micros(PAUSE, "hole")
    limit = _micros(hole, "hole") if hole else usual_hole
    if header.form != "runs" and limit <= traits.interval:
        raise RecordError.of(
            "hole must be longer than the interval",
            where=where,
            found=f'"{hole}", with {traits.interval / SECOND:g} s between rows',
        )
    stream: SampleStream | RunStream
    if header.form == "runs":
        stream = RunStream(header, traits, where, limit)
    else:
        stream = SampleStream(header, traits, where, limit, litres_per_pulse)
    joiners = [Joiner(pause) for pause in pauses.values()]
    tallies = [Tally(_array(limits), _array(amounts)) for _ in joiners]
    labels = LabelTally(_array(limits))
    for rows in records.blocks(max(block_bytes, 1), progress):
        pieces = stream.feed(rows)
        if isinstance(stream, RunStream) and stream.labels is not None:
            labels.add(stream.labels)
        for joiner, tally in zip(joiners, tallies, strict=True):
            pieces = joiner.feed(pieces)  # a wider gap joins the runs of the narrower one
            tally.add(pieces)
    pieces = stream.close()
    for joiner, tally in zip(joiners, tallies, strict=True):
        over, last = joiner.feed(pieces), joiner.close()
        pieces = Pieces(*(np.concatenate(pair) for pair in zip(over, last, strict=True)))
        tally.add(pieces)
    counted = Counted(tuple(pauses), tuple(limits), tuple(amounts), tallies)
    days = _covered_days(stream, tallies[0], covered, where)
    leaks = find_smallest_leaks(stream, pauses, litres_per_pulse, least_flow)
    notes = write_notes(
        header,
        traits,
        stream.account,
        hole=limit,
        shortest_gap=min((pause for pause in pauses.values() if pause), default=_DAY) / SECOND,
        shortest_time=min(limits.values()) / SECOND,
        longest_run=tallies[-1].lengths.largest / SECOND,
        days=days,
        covered_given=covered is not None,
        leak_known=all(map(math.isfinite, leaks.values())),
        pulse_known=pulse_volume(stream, litres_per_pulse) is not None,
    )
    seen = stream.account
    pairs = counted.pairs()
    return MeterReport(
        source=where,
        kind=header.form,
        time_form=traits.form.name,
        first=show_time(seen.first or 0),
        last=show_time(seen.last),
        rows=seen.rows,
        used_rows=seen.used,
        covered_days=days,
        hole_days=seen.hole_time / _DAY,
        litres=seen.volume * NANOLITRE,
        litres_per_day=seen.volume * NANOLITRE / days,
        interval_s=traits.interval / SECOND,
        pulse_volume_l=pulse_volume(stream, litres_per_pulse),
        gaps=tuple(pauses),
        times=tuple(limits),
        volumes=tuple(amounts),
        trips=counted.trips(pairs, days, leaks),
        distribution=counted.distribution(),
        runs=counted.kept(),
        labels=tabulate_labels(labels, tuple(limits)) if "label" in header.columns else None,
        flaws=tuple(sorted(seen.flaws.values(), key=lambda flaw: (flaw.first_line, flaw.what))),
        notes=notes,
        columns={role: column.name for role, column in header.columns.items()},
        unused_columns=header.unused,
        pairs=pairs,
        smallest_leak=leaks,
    )


def _covered_days(
    stream: SampleStream | RunStream, runs: Tally, covered: str | None, where: str
) -> float:
    if covered is None:
        return stream.account.covered / _DAY
    stated = _micros(covered, "covered")
    running = runs.lengths.total
    if stated <= max(running, 0):
        raise RecordError.of(
            "the stated covered time is too short",
            where=where,
            found=f"{covered}, with {running / _DAY:.3g} days of flow in the record",
            expected="at least the time during which water ran",
        )
    return stated / _DAY


def _read_limits(
    texts: Sequence[str], dimension: str, scale: float, name: str, *, above: bool = False
) -> dict[str, int]:
    """Limits by text, ascending, in whole units of the record."""
    if isinstance(texts, str):
        texts = (texts,)
    found: dict[str, int] = {}
    for text in texts:
        value = _parse(text, dimension, name)
        if value < 0 or (above and value == 0):
            raise RecordError.of(
                f"{name} must be {'above' if above else 'at least'} zero", found=f'"{text}"'
            )
        whole = round(min(value * scale, 4e18))
        if whole not in found.values():
            found[str(text).strip()] = whole
    if not 1 <= len(found) <= _MOST_LIMITS:
        raise RecordError.of(
            f"{name} are {'missing' if not found else 'too many'}",
            found=f"{len(found)}",
            expected=f"1 to {_MOST_LIMITS}",
        )
    return dict(sorted(found.items(), key=lambda item: item[1]))


def _micros(text: str, name: str) -> int:
    value = _parse(text, "time", name)
    if not 1e-6 <= value <= 1e12:
        raise RecordError.of(f"{name} must be above zero", found=f'"{text}"')
    return round(value * SECOND)


def _read_starting_flow(text: str | None) -> float:
    """Starting flow of the meter [L/min], from the library of defaults when not stated."""
    if text is None:
        default = library.find("flow_rule", "starting_flow")
        text = str(default.value) if default else "0 L/h"
    return _parse(text, "flow", "starting_flow") * _LITRES_PER_MINUTE


def _parse(text: str, dimension: str, name: str) -> float:
    try:
        return units.parse(str(text), dimension)
    except UnitError as error:
        raise UnitError(
            f"{name}: {error.message}",
            found=error.found,
            expected=error.expected,
            hint=error.hint,
        ) from None


def _need_litres(header: Header, litres_per_pulse: float | None, where: str) -> None:
    if header.form == "pulses" and "per pulse" not in header.columns and litres_per_pulse is None:
        raise RecordError.of(
            "the volume of water per pulse is not known",
            where=where,
            found="pulses without a column litres_per_pulse",
            expected="litres per pulse; they are printed on the meter or its pulse unit",
            hint="state the litres per pulse (litres_per_pulse)",
        )


def _array(limits: dict[str, int]) -> np.ndarray:
    return np.array(list(limits.values()), np.int64)
