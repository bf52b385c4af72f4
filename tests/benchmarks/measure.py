"""Measure speed, memory and the coverage of intervals: ``python tests/benchmarks/measure.py``.

Prints the page; with ``--write`` it is kept as docs/benchmarks.md, and the numbers behind it beside
this file. Parts that are named are measured anew and the others kept. Ends with 1 when a goal of a
part that was measured is missed.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
for folder in (ROOT, HERE.parent, HERE):
    if str(folder) not in sys.path:
        sys.path.append(str(folder))

import benchmark_page  # noqa: E402
import floor  # noqa: E402
import intervals  # noqa: E402
import precision  # noqa: E402
import rare  # noqa: E402
import whole_runs  # noqa: E402
from machine import describe_machine  # noqa: E402

FINDINGS = HERE / "findings.json"
PAGE = ROOT / "docs" / "benchmarks.md"

Measure = Callable[[bool, bool], Any]  # quick, long

PARTS: dict[str, Measure] = {
    "precision": lambda quick, _long: precision.measure(quick),
    "floor": lambda quick, _long: floor.measure(quick),
    "workers": lambda quick, _long: whole_runs.measure_workers(quick),
    "start": lambda quick, _long: whole_runs.measure_start(quick),
    "memory": whole_runs.measure_memory,
    "portfolio": whole_runs.measure_portfolio,
    "rare": lambda quick, _long: rare.measure(quick),
    "coverage": lambda quick, _long: intervals.measure(quick),
    "demand": lambda quick, _long: intervals.measure(quick, demand=True),
}
LONG = ("coverage", "demand")  # only with --long, or when named


def main(words: list[str] | None = None) -> int:
    """Measure, print or write the page, and return the exit code."""
    parser = argparse.ArgumentParser(description="Measure speed, memory and coverage.")
    parser.add_argument("part", nargs="*", help=f"Measure only these: {', '.join(PARTS)}.")
    parser.add_argument("--long", action="store_true", help="All of it: an hour.")
    parser.add_argument("--quick", action="store_true", help="A trial: small, not to be kept.")
    parser.add_argument("--write", action="store_true", help="Keep the numbers and the page.")
    asked = parser.parse_args(words)
    unknown = [part for part in asked.part if part not in PARTS]
    if unknown:
        parser.error(f"no part is called {unknown[0]!r}; there are {', '.join(PARTS)}")
    if asked.quick and asked.write:
        parser.error("--quick is a trial, its numbers are not to be kept: leave out --write")
    wanted = asked.part or [part for part in PARTS if asked.long or part not in LONG]
    findings: dict[str, Any] = {}
    for part in wanted:
        begin = time.perf_counter()
        rows = PARTS[part](asked.quick, asked.long)
        findings[part] = {"machine": describe_machine(), "rows": rows}
        print(f"{part}: {time.perf_counter() - begin:.0f} s", file=sys.stderr)
        if asked.write:
            keep(findings)
    if not asked.write:
        print(benchmark_page.render(findings))
    missed = [goal for goal in benchmark_page.goals(findings) if not goal.met]
    for goal in missed:
        print(f"missed: {goal.name}: {goal.found}, goal {goal.goal}", file=sys.stderr)
    return 1 if missed else 0


def kept() -> dict[str, Any]:
    """Return the numbers that are kept, in the order of the parts."""
    found = json.loads(FINDINGS.read_text(encoding="utf-8")) if FINDINGS.exists() else {}
    return {part: found[part] for part in PARTS if part in found}


def keep(findings: dict[str, Any]) -> None:
    """Keep these parts with the others, and renew the page."""
    together = {**kept(), **findings}
    text = json.dumps({part: together[part] for part in PARTS if part in together}, indent=1)
    FINDINGS.write_text(text + "\n", encoding="utf-8")
    PAGE.write_text(benchmark_page.render(kept()), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
