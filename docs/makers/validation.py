"""Checks against published and exact numbers: the page that shows them all.

A check runs shutoffsim and compares with a number printed elsewhere. The checks themselves stand
with the tests.
"""

from __future__ import annotations

import importlib
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from support.agreement import (
    EVIDENCE,
    RUNS,
    STANDARD_ERRORS,
    Check,
    Found,
    LeftOut,
    Verdict,
    judge,
)

from makers import DOCS, ROOT, Files
from makers.markdown import generated, table
from shutoffsim.errors import ModelError, OutputError

CHECKS = ROOT / "tests" / "published"


@dataclass(frozen=True)
class Collection:
    """All checks of a folder, and what was left out."""

    checks: tuple[Check, ...]
    left_out: tuple[LeftOut, ...]


def collect(folder: str | Path) -> Collection:
    """Return what the files ``published_*.py`` of a folder list as CHECKS and LEFT_OUT.

    The folder and the one above are put on the import path, as for tests.

    Raises
    ------
    OutputError
        When there are none.
    """
    place = Path(folder)
    files = sorted(place.glob("published_*.py"))
    if not files:
        raise OutputError(
            "no checks here", where=str(place), expected="a folder with files published_*.py"
        )
    for path in (place.parent, place):
        if str(path.resolve()) not in sys.path:
            sys.path.insert(0, str(path.resolve()))
    modules = [importlib.import_module(path.stem) for path in files]
    return Collection(
        tuple(check for module in modules for check in getattr(module, "CHECKS", ())),
        tuple(entry for module in modules for entry in getattr(module, "LEFT_OUT", ())),
    )


def write_page(collection: Collection, found: Sequence[Found]) -> str:
    """Return the page as Markdown.

    Parameters
    ----------
    collection : Collection
    found : sequence of Found
        One per check.
    """
    judged = [
        (check, value, judge(check, value))
        for check, value in zip(collection.checks, found, strict=True)
    ]
    passed = sum(verdict.passed for _, _, verdict in judged)
    lines = [
        generated("validation"),
        "",
        "# Published answers",
        "",
        f"{len(judged)} numbers that were printed elsewhere or follow exactly from a formula, each",
        f"found again. {passed} of {len(judged)} checks hold. They run:",
        "",
        *_running(collection.checks),
        "",
        "Written by",
        "",
        "    python docs/refresh.py validation",
        "",
        "A value may lie away from the printed one by half a unit in its last printed place plus",
        f"{STANDARD_ERRORS:g} standard errors of the simulation (*allowed*), and from an exact one",
        f"by {STANDARD_ERRORS:g} standard errors. A standard error of 0 means that no chance is",
        "involved. Where a printed number is known to be wrong, shutoffsim must *disagree* with it",
        "and meet the exact value. Seeds are fixed.",
        "",
        "How a number is known:",
        "",
        *(f"- **{label}**: {meaning}" for label, meaning in EVIDENCE.items()),
    ]
    for group in dict.fromkeys(check.group for check in collection.checks):
        rows = [row for row in judged if row[0].group == group]
        lines += ["", f"## {group}", ""]
        for runs in dict.fromkeys(check.runs for check, _, _ in rows):
            if runs != "command":
                lines += [f"*Runs {RUNS[runs]}.*", ""]
        lines += _section(rows)
    if collection.left_out:
        lines += [
            "",
            "## Not reduced",
            "",
            "Cases that shutoffsim cannot be set up for, and why.",
            "",
        ]
        left_out = ((entry.case, entry.why) for entry in collection.left_out)
        lines += table(("case", "why not"), left_out)
    lines += ["", *_LIMITS]
    return "\n".join(lines) + "\n"


_LIMITS = [
    "## What this does not show",
    "",
    "No published number covers causes that strike mains and battery together, a person closing",
    "during an exercise, torque that rises with the age of a valve, or damage that grows",
    "unevenly with the escaped water. These rest on exact answers to small cases of our own, on an",
    "independent simulator written for the tests, and on the two engines agreeing.",
]


def _running(checks: Sequence[Check]) -> list[str]:
    """Return a line for each kind of code that checks run, with their number."""
    counts = {runs: sum(check.runs == runs for check in checks) for runs in RUNS}
    return [f"- {counts[runs]}: {words}" for runs, words in RUNS.items() if counts[runs]]


def _section(rows: Sequence[tuple[Check, Found, Verdict]]) -> list[str]:
    """Return the table of a group and the notes below it; a note that holds for all has no mark."""
    texts = [[text for text in (row[0].refuted, row[0].note) if text] for row in rows]
    notes = list(dict.fromkeys(text for row_texts in texts for text in row_texts))
    marked = [text for text in notes if not all(text in row_texts for row_texts in texts)]
    numbers = ("printed", "exact", "shutoffsim", "std error", "allowed")
    body = []
    for (check, found, verdict), row_texts in zip(rows, texts, strict=True):
        marks = "".join(f" [{marked.index(text) + 1}]" for text in row_texts if text in marked)
        body.append(
            (
                check.name + marks,
                check.source,
                check.evidence,
                check.printed or "",
                check.exact or "",
                *_rounded(found),
                f"{verdict.allowed:.2g}",
                _word(check, verdict),
            )
        )
    lines = table(("what", "source", "known", *numbers, "verdict"), body, numbers)
    for text in notes:
        mark = f"[{marked.index(text) + 1}] " if text in marked else ""
        lines += ["", f"{mark}{text[:1].upper()}{text[1:]}"]
    return lines


def _word(check: Check, verdict: Verdict) -> str:
    if not verdict.passed:
        return "**FAILS**: " + ", ".join(verdict.faults)
    return "disagrees, as it must" if check.refuted and check.printed else "agrees"


def _rounded(found: Found) -> tuple[str, str]:
    """Return value and standard error as text: two digits of the error, six where it is none."""
    if found.std_error <= 0.0:
        return f"{found.value:.6g}", "0"
    places = 1 - math.floor(math.log10(found.std_error))
    shown = max(places, 0)
    value, error = (f"{round(x, places):.{shown}f}" for x in found)
    return value, error


def files(folder: Path = CHECKS) -> Files:
    """Yield the page.

    Raises
    ------
    ModelError
        Once the page has been taken, when a check does not hold.
    """
    collection = collect(folder)
    found = [check.find() for check in collection.checks]
    yield DOCS / "validation.md", write_page(collection, found).encode()
    failing = [
        f"{check}: {', '.join(verdict.faults)}"
        for check, value in zip(collection.checks, found, strict=True)
        if not (verdict := judge(check, value)).passed
    ]
    if failing:
        raise ModelError(
            f"{len(failing)} of {len(found)} checks do not hold", found="; ".join(failing)
        )
