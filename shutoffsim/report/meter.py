"""A meter's record as text: its runs, how often rules would have tripped, and what to paste."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

from shutoffsim import units
from shutoffsim.report.text import Column, print_section, print_table, wrap

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.study.meter import MeterReport

_MANY = 100  # trips from which a third digit is honest


def print_meter(console: Console, report: MeterReport, fragment: str | None = None) -> None:
    """Print what a meter's record says.

    Parameters
    ----------
    console : rich.console.Console
        Where to, from :func:`shutoffsim.report.text.make_console`.
    report : MeterReport
        From :func:`shutoffsim.study.meter.analyse_meter`.
    fragment : str, optional
        Part of a scenario to show at the end; the report's own when left out, none when empty.
    """
    console.print(Text(wrap(_title(report), console.width), style="bold"))
    console.print(wrap(_facts(report), console.width))
    print_section(console, "Runs: flow that does not stop for longer than the gap")
    print_table(console, *_distribution(report))
    print_section(console, "Trips: runs over a limit, and how many a year (95 % interval)", "")
    print_table(console, *_trips(report))
    if report.labels is not None:
        print_section(console, "Labelled events, each row separately", "")
        print_table(console, *_labels(report))
    print_section(console, "Odd rows" if report.flaws else "Odd rows: none", "")
    for flaw in report.flaws:
        line = (
            f"- {flaw.what}: {_plural(flaw.rows, 'row')}, first in line {flaw.first_line}; "
            f"{flaw.done}"
        )
        console.print(_item(line, console.width))
    print_section(console, "Read with care")
    for note in report.notes:
        console.print(_item(f"- {note}", console.width))
    text = report.fragment() if fragment is None else fragment
    if text:
        print_section(console, "For a scenario")
        # No wrapping: a broken comment would not be TOML any more.
        console.print(Text(text.rstrip("\n")), soft_wrap=True)


def _item(text: str, width: int) -> str:
    return wrap(text, max(width - 2, 8)).replace("\n", "\n  ")


def _title(report: MeterReport) -> str:
    pulse = report.pulse_volume_l
    kind = report.kind
    if kind == "pulses" and pulse is not None:
        kind = f"pulses of {pulse:.6g} L"
    return f"{Path(report.source).name}: {kind}, {_digits(report.litres_per_day, 3)} L a day"


def _facts(report: MeterReport) -> str:
    rows = f"{report.used_rows:,} of {_plural(report.rows, 'row')} used"
    return (
        f"{report.covered_days:.4g} days recorded between {report.first} and {report.last}; "
        f"{report.litres:,.0f} L; {rows}; times as {report.time_form}"
    )


def _distribution(report: MeterReport) -> tuple[Column, list[Column]]:
    """What is measured of the runs, a column for each gap."""
    heads = (
        "runs",
        "half end within",
        "95 % end within",
        "longest",
        "half take up to",
        "95 % take up to",
        "largest",
        "smallest leak seen",
    )
    columns = []
    for gap, row in zip(report.gaps, report.distribution.to_dict("records"), strict=True):
        cells = (
            f"{row['runs']:,}",
            *(_time(row[key]) for key in ("median_s", "p95_s", "longest_s")),
            *(_unit(row[key], "L") for key in ("median_l", "p95_l", "largest_l")),
            _unit(report.smallest_leak[gap], "L/min"),
        )
        columns.append(_on_one_line(f"gap {gap}", cells))
    return Column("of the runs", heads), columns


def _trips(report: MeterReport) -> tuple[Column, list[Column]]:
    """How often each rule would have tripped, a column for each gap."""
    table = report.trips
    columns = []
    for gap in report.gaps:
        rows = table[table["gap"] == gap]
        counts = _right([f"{count:,}" for count in rows["count"]])
        numbers = zip(rows["count"], rows["per_year"], rows["low"], rows["high"], strict=True)
        cells = [f"{shown}  {_yearly(*row)}" for shown, row in zip(counts, numbers, strict=True)]
        columns.append(_on_one_line(f"gap {gap}: trips, a year", cells))
    return Column("rule", tuple(table["rule"].unique())), columns


def _yearly(count: int, per_year: float, low: float, high: float) -> str:
    digits = 3 if count >= _MANY else 2
    middle, least, most = (_digits(value, digits) for value in (per_year, low, high))
    return f"{middle} ({least} to {most})" if count else f"under {most}"


def _labels(report: MeterReport) -> tuple[Column, list[Column]]:
    table = report.labels
    assert table is not None
    columns = [
        Column("events", _right([f"{n:,}" for n in table["events"]])),
        Column("water, L", _right([f"{litres:,.0f}" for litres in table["litres"]])),
        Column("longest", tuple(_time(value) for value in table["longest_s"])),
    ]
    for time in report.times:
        counts = table[f"longer than {time}"]
        if counts.any():
            columns.append(Column(f"over {time}", _right([f"{n:,}" for n in counts])))
    return Column("label", tuple(table["label"])), columns


def _on_one_line(head: str, cells: Iterable[str]) -> Column:
    """Return a column as wide as its head."""
    return Column(head, tuple(cell.ljust(len(head)) for cell in cells))


def _right(texts: list[str]) -> tuple[str, ...]:
    widest = max((len(text) for text in texts), default=0)
    return tuple(f"{text:>{widest}}" for text in texts)


def _time(seconds: float) -> str:
    return units.format(seconds, "time") if math.isfinite(seconds) else "-"


def _unit(value: float, unit: str) -> str:
    """Three digits that count and the unit; a dash for what is not known."""
    return f"{_digits(value, 3)} {unit}" if math.isfinite(value) else "-"


def _digits(value: float, digits: int) -> str:
    """Round to some digits that count, written out.

    >>> _digits(1971.2, 2), _digits(0.1575, 3), _digits(0.0, 2)
    ('2,000', '0.158', '0')
    """
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, places):,.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _plural(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"
