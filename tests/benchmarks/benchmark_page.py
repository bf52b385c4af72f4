"""The page of the findings: goals and ratios in front, the numbers behind them after."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from intervals import DEMAND, DEMAND_ERROR, PRECISION, STOP
from rare import ERROR as RARE_ERROR

Findings = dict[str, Any]

INTRODUCTION = """\
# Speed and precision, measured

Made by `python tests/benchmarks/measure.py --write`, which takes about ten minutes; with `--long`,
the largest runs and the coverage of the intervals as well, about an hour. Times are processor times
and mostly stand as ratios, since seconds are those of one machine. A missed goal is shown as such.
"""

PRECISION_TEXT = """\
The program draws leaks as probes, many to a history, where a plain simulation waits for the few
that come by themselves. What that saves is the product of two factors: the time of one history and
the variance of one history. "Times faster" is the ratio of the processor times until the standard
error is 1 %; ± is its standard error from the variances, which are themselves estimates.
"""

SAME_TEXT = """\
Against **the same model on SimPy**: the trace engine without probes, which keeps time with SimPy's
event queue and counts the leaks that come by themselves. Differences are to "no automation", both
designs living through the same leaks, outages and people.
"""

ORDINARY_TEXT = """\
Against **an ordinary SimPy program** (`tests/benchmarks/plain.py`): three leak sources, people who
sleep, work and travel, one sensor, outages and a battery, dormant failures, exercise and repair;
written by hand with one process per thing, and checked to give the same answer as the program does
for a scenario of the same system. Its two designs are simulated independently.
"""

FLOOR_TEXT = """\
The floor is a compiled loop that only draws: as many variates of the same distributions as a
history needs, through the same generator and quantile functions, and nothing else. A number that is
drawn twice by the same key counts once.
"""

WORKERS_TEXT = """\
Wall time, two designs; the least of nine runs each, taken in turn. Bare loop: the same ratio of a
compiled loop that shares nothing, which is what the machine had to give at the time.
"""

_SHARE_TEXT = """\
Shown is the share of runs, each with a seed of its own, whose 95 % interval holds the true value:
the mean over all histories of all runs."""
COVERAGE_TEXT = f"""\
{_SHARE_TEXT} Compared are "no automation" and the first automated design, with fixed numbers of
histories and to a standard error of {PRECISION:.0%}, where the adaptive rule stops. With 64
histories there are too few blocks, and the spread between single histories is taken: mostly too
wide, on purpose. The last columns are of the runs that stop by the rule: how the others miss, and
half the interval as a share of the value.
"""
RARE_TEXT = f"""\
Probability of failure on demand with an exact answer, found to a standard error of {RARE_ERROR:.0%}
by `pfd`: extra probes while automation is impaired, stiff valves and random failures drawn more
often, with weights. Processor time is that of the slowest of five seeds; "furthest" is the greatest
distance of the five from the exact answer, in standard errors.
"""
DEMAND_TEXT = f"""\
{_SHARE_TEXT} `pfd` is run for the last design of each file to {DEMAND_ERROR:.0%}.
"""


@dataclass(frozen=True)
class Goal:
    """Something to reach: what, how much, what was found."""

    name: str
    goal: str
    found: str
    met: bool


def goals(findings: Findings) -> list[Goal]:
    """Return what can be judged by the findings that are there."""
    out = []
    for part, judge in _JUDGES.items():
        if part in findings:
            out += judge(findings[part]["rows"])
    return out


def _judge_precision(rows: dict[str, Any]) -> list[Goal]:
    out = []
    for key, name in (("scenarios", "the same model on SimPy"), ("ordinary", "ordinary SimPy")):
        least = min(rows[key], key=lambda row: row["ratio"])
        most = max(row["ratio"] for row in rows[key])
        found = f"{times(least['ratio'])} to {times(most)}"
        out.append(
            Goal(
                f"faster to 1 % than {name}", "5,000 (aim 20,000)", found, least["ratio"] >= 5000.0
            )
        )
    return out


def _judge_floor(rows: list[dict[str, Any]]) -> list[Goal]:
    out = []
    for key, name in (("history_ratio", "a history"), ("probe_ratio", "a probe")):
        low, high = min(row[key] for row in rows), max(row[key] for row in rows)
        found = f"{low:.2f} to {high:.2f}"
        out.append(Goal(f"cost of {name} over bare draws", "at most 3", found, high <= 3.0))
    return out


def _judge_workers(rows: list[dict[str, Any]]) -> list[Goal]:
    low, high = min(row["ratio"] for row in rows), max(row["ratio"] for row in rows)
    found = f"{low:.2f} to {high:.2f}"
    return [Goal("two workers faster than one (wall)", "at least 1.8", found, low >= 1.8)]


def _judge_start(rows: list[dict[str, Any]]) -> list[Goal]:
    out = []
    for row, limit in zip(rows, (1.0, 30.0, 2.0), strict=True):
        wall = row["wall_seconds"]
        out.append(
            Goal(f"{row['run']} (wall)", f"under {limit:g} s", f"{wall:.2g} s", wall < limit)
        )
    return out


def _judge_memory(rows: list[dict[str, Any]]) -> list[Goal]:
    growth = rows[-1]["peak_mb"] / rows[0]["peak_mb"]
    name = f"memory at {rows[-1]['dwelling_years']:,} dwelling-years over that at 10,000"
    return [Goal(name, "at most 1.2", f"{growth:.2f}", growth <= 1.2)]


def _judge_portfolio(rows: list[dict[str, Any]]) -> list[Goal]:
    last = rows[-1]
    name = f"dwellings a second, portfolio of {last['dwellings']:,}"
    speed, peak = last["per_second"], last["peak_mb"]
    return [
        Goal(name, "at least 100", f"{speed:.0f}", speed >= 100.0),
        Goal("memory of that portfolio", "under 600 MB", f"{peak:.0f} MB", peak < 600.0),
    ]


def _judge_rare(rows: list[dict[str, Any]]) -> list[Goal]:
    slowest, worst = max(row["seconds"] for row in rows), max(row["worst"] for row in rows)
    met = slowest < 10.0 and worst < 4.0 and all(row["reached"] for row in rows)
    found = f"{slowest:.2g} s, at most {worst:.1f} standard errors off"
    return [Goal(f"rare failures of known probability to {RARE_ERROR:.0%}", "in 10 s", found, met)]


def _judge_coverage(rows: list[dict[str, Any]]) -> list[Goal]:
    out = []
    by = ", `pfd`" if rows[0]["quantity"] == DEMAND else ""
    for sample in dict.fromkeys(row["sample"] for row in rows):
        found = [row["coverage"] for row in rows if row["sample"] == sample]
        met = min(found) >= 0.93 and max(found) <= 0.97
        text = f"{min(found):.1%} to {max(found):.1%}"
        out.append(
            Goal(f"coverage of 95 % intervals, {_sample_name(sample)}{by}", "93 to 97 %", text, met)
        )
    return out


_JUDGES: dict[str, Callable[[Any], list[Goal]]] = {
    "precision": _judge_precision,
    "floor": _judge_floor,
    "workers": _judge_workers,
    "start": _judge_start,
    "memory": _judge_memory,
    "portfolio": _judge_portfolio,
    "rare": _judge_rare,
    "coverage": _judge_coverage,
    "demand": _judge_coverage,
}


def render(findings: Findings) -> str:
    """Return the page."""
    judged = goals(findings)
    parts = [
        INTRODUCTION,
        table(
            ("", "goal", "found", ""),
            [(g.name, g.goal, g.found, "met" if g.met else "**missed**") for g in judged],
        ),
        _machines(findings),
    ]
    for part, section in _SECTIONS.items():
        if part in findings:
            parts.append(section(findings[part]["rows"]))
    coverage = [row for part in ("coverage", "demand") for row in _rows(findings, part)]
    if coverage:
        parts.append(_coverage(coverage))
    return "\n".join(parts)


def _rows(findings: Findings, part: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = findings[part]["rows"] if part in findings else []
    return found


def _machines(findings: Findings) -> str:
    """Name the machine, once for all parts that were measured alike."""
    alike: dict[str, list[str]] = {}
    for part, finding in findings.items():
        text = ", ".join(f"{name} {value}" for name, value in finding["machine"].items())
        alike.setdefault(text, []).append(part)
    lines = ["## Machine\n"]
    lines += [f"* {', '.join(parts)}: {text}" for text, parts in alike.items()]
    return "\n".join(lines) + "\n"


def _precision(rows: dict[str, Any]) -> str:
    header = ("scenario", "design", "times faster", "of this work", "of this variance", "to 1 %")
    texts = {"scenarios": SAME_TEXT, "ordinary": ORDINARY_TEXT}
    out = ["## Time to a standard error of 1 %\n", PRECISION_TEXT]
    for key, text in texts.items():
        body = [
            (
                row["scenario"],
                row["quantity"],
                f"{times(row['ratio'])} ± {times(row['ratio_error'])}",
                times(row["work_ratio"]),
                times(row["variance_ratio"]),
                f"{row['seconds']:.2g} s, plain {duration(row['plain_seconds'])}",
            )
            for row in rows[key]
        ]
        out += [text, table(header, body)]
    return "\n".join(out)


def _floor(rows: list[dict[str, Any]]) -> str:
    header = (
        "scenario",
        "design",
        "events a history",
        "variates a history",
        "µs a history",
        "over bare draws",
        "variates a probe",
        "µs a probe",
        "over bare draws",
    )
    body = [
        (
            row["scenario"],
            row["design"],
            f"{row['events']:.0f}",
            f"{row['history_variates']:.0f}",
            f"{row['history_seconds'] * 1e6:.0f}",
            f"{row['history_ratio']:.1f}",
            f"{row['probe_variates']:.0f}",
            f"{row['probe_seconds'] * 1e6:.1f}",
            f"{row['probe_ratio']:.1f}",
        )
        for row in rows
    ]
    return "\n".join(["## Cost of histories and probes\n", FLOOR_TEXT, table(header, body)])


def _workers(rows: list[dict[str, Any]]) -> str:
    body = [
        (
            row["scenario"],
            f"{row['one_seconds']:.2f} s",
            f"{row['two_seconds']:.2f} s",
            f"{row['ratio']:.2f}",
            f"{row['bare_ratio']:.2f}",
        )
        for row in rows
    ]
    header = ("scenario", "one worker", "two", "ratio", "bare loop")
    return "\n".join(["## Workers\n", WORKERS_TEXT, table(header, body)])


def _start(rows: list[dict[str, Any]]) -> str:
    body = [
        (row["run"], f"{row['cpu_seconds']:.2g} s", f"{row['wall_seconds']:.2g} s") for row in rows
    ]
    return "## Start\n\nOf the holiday cottage, the slowest of the three.\n\n" + table(
        ("run", "processor", "wall"), body
    )


def _memory(rows: list[dict[str, Any]]) -> str:
    body = [
        (f"{row['dwelling_years']:,}", str(row["probes"]), f"{row['peak_mb']:.0f} MB")
        for row in rows
    ]
    return "## Memory\n\nOne design, two workers, ten years a history.\n\n" + table(
        ("dwelling-years", "probes a history", "peak"), body
    )


def _portfolio(rows: list[dict[str, Any]]) -> str:
    body = [
        (
            f"{row['dwellings']:,}",
            str(row["workers"]),
            f"{row['per_second']:.0f}",
            duration(row["wall_seconds"]),
            f"{row['peak_mb']:.0f} MB",
        )
        for row in rows
    ]
    header = ("dwellings", "workers", "a second", "wall", "peak")
    return "## Portfolios\n\nThe reference US house, seven columns vary.\n\n" + table(header, body)


def _rare(rows: list[dict[str, Any]]) -> str:
    body = [
        (
            row["family"],
            f"{row['exact']:.4g}",
            f"{row['found']:.3g} ± {row['std_error']:.1g}",
            f"{row['histories']:,}",
            f"{row['seconds']:.2g} s",
            f"{row['worst']:.1f}",
        )
        for row in rows
    ]
    header = ("what fails", "exact", "found", "histories", "slowest of 5", "furthest of 5")
    return "\n".join(["## Rare failures\n", RARE_TEXT, table(header, body)])


def _coverage(rows: list[dict[str, Any]]) -> str:
    samples = list(dict.fromkeys(row["sample"] for row in rows))
    header = ["scenario", "quantity", *(_sample_name(sample) for sample in samples)]
    header += ["histories", "too high", "too low", "half width"]
    body = []
    for scenario, quantity in dict.fromkeys((row["scenario"], row["quantity"]) for row in rows):
        own = {
            row["sample"]: row
            for row in rows
            if (row["scenario"], row["quantity"]) == (scenario, quantity)
        }
        last = own[STOP]
        body.append(
            (
                scenario,
                quantity,
                *(f"{own[name]['coverage']:.1%}" if name in own else "" for name in samples),
                f"{last['histories']:,.0f}",
                f"{last['too_high']:.1%}",
                f"{last['too_low']:.1%}",
                f"{last['half_width']:.1%}",
            )
        )
    runs = min(row["runs"] for row in rows)
    chance = math.sqrt(0.95 * 0.05 / runs)
    worst = max(row["truth_error"] for row in rows)
    note = (
        f"{runs:,} runs a scenario: a share of 95 % has a standard error of {chance:.1%}. "
        f"The relative standard error of the true values is at most {worst:.2%}.\n"
    )
    text = DEMAND_TEXT if rows[0]["quantity"] == DEMAND else COVERAGE_TEXT
    return "\n".join(["## Do the intervals hold?\n", text, table(header, body), note])


def _sample_name(sample: str) -> str:
    return f"{sample} histories" if sample.isdigit() else sample


_SECTIONS: dict[str, Callable[[Any], str]] = {
    "precision": _precision,
    "floor": _floor,
    "workers": _workers,
    "start": _start,
    "memory": _memory,
    "portfolio": _portfolio,
    "rare": _rare,
}


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a table in Markdown."""
    lines = [" | ".join(header), " | ".join("---" for _ in header)]
    lines += [" | ".join(row) for row in rows]
    return "".join(f"| {line} |\n" for line in lines)


def times(ratio: float) -> str:
    """Return a ratio with two digits that mean something.

    >>> times(17120.4), times(4.57)
    ('17,000', '4.6')
    """
    return f"{float(f'{ratio:.2g}'):,.0f}" if ratio >= 10.0 else f"{ratio:.2g}"


def duration(seconds: float) -> str:
    """Return a time in a unit that suits.

    >>> duration(7200.0)
    '2.0 h'
    """
    if seconds < 120.0:
        return f"{seconds:.2g} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 3600.0 else f"{seconds / 3600.0:.1f} h"
