"""Checks against published and exact numbers, and the page that shows them all.

A check runs shutoffsim and compares with a number printed elsewhere. The checks themselves stand
with the tests; :data:`COMMAND` runs them and writes the page.
"""

from __future__ import annotations

import argparse
import importlib
import math
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from shutoffsim.errors import ModelError, OutputError, ShutoffError
from shutoffsim.report.files import OutputFile

#: How a printed number is known, strongest first.
EVIDENCE = {
    "published": "read in the source itself, or in an excerpt of it",
    "secondary": "read in a text that quotes the source",
    "from memory": "the printed text was not opened",
    "computed": "an exact result of the stated formula; under *printed* it stands as the source "
    "would print it, which was not opened",
}
#: Which code a check runs.
RUNS = {
    "command": "code that a command uses",
    "function": "a public function of the package that no command reaches yet",
    "oracle": "a procedure of the tests, in tests/support, that no command uses; it vouches for "
    "the draws and the quantile functions that it is fed with",
}
#: How the page is written anew.
COMMAND = "python -m shutoffsim.report.validation tests/published --write docs/validation.md"
STANDARD_ERRORS = 3.0
_NUMBER = re.compile(r"-?\d+(?:\.(\d+))?(?:E([+-]?\d+))?")


class Found(NamedTuple):
    """What the product says: a value and its standard error (0: no chance is involved)."""

    value: float
    std_error: float = 0.0


@dataclass(frozen=True)
class Check:
    """One number, printed or exact, and how the product finds it.

    Parameters
    ----------
    group : str
        Heading on the page.
    name : str
        What is compared.
    find : callable
        Runs the product; returns a :class:`Found`.
    source : str
        Where the number stands.
    evidence : str
        A key of :data:`EVIDENCE`.
    printed : str, optional
        The number as printed, such as ``"1.1E-2"``: its last digit says how sharp it is.
    exact : str, optional
        An exact value, for the case as the product runs it.
    within : float, optional
        Allowed distance instead of half a unit in the last place of the printed number, or of the
        exact one where none is printed; ``note`` says why.
    refuted : str
        Why the printed number is known to be wrong: then it must *not* be met, and ``exact`` must.
    note : str
        What a reader should know.
    sharp : float
        Largest standard error, as a share of the value, at which this is still a check.
    runs : str
        A key of :data:`RUNS`.
    """

    group: str
    name: str
    find: Callable[[], Found]
    source: str
    evidence: str
    printed: str | None = None
    exact: str | None = None
    within: float | None = None
    refuted: str = ""
    note: str = ""
    sharp: float = 0.07
    runs: str = "command"

    def __post_init__(self) -> None:
        if self.evidence not in EVIDENCE:
            raise ModelError(
                "no such evidence", found=self.evidence, expected="one of " + ", ".join(EVIDENCE)
            )
        if self.runs not in RUNS:
            raise ModelError(
                "no such code to run", found=self.runs, expected="one of " + ", ".join(RUNS)
            )
        if (self.exact if self.refuted else self.exact or self.printed) is None:
            raise ModelError(f"{self.name}: nothing to compare with")

    def __str__(self) -> str:
        return f"{self.group}: {self.name}"


class Verdict(NamedTuple):
    """How a value stands to a check.

    ``allowed`` is the distance from the printed value (else the exact one) that was allowed;
    ``faults`` says what is wrong, empty when all is well.
    """

    allowed: float
    faults: tuple[str, ...]

    @property
    def passed(self) -> bool:
        """Whether the check holds."""
        return not self.faults


def half_unit(printed: str) -> float:
    """Return half a unit in the last place of a printed number.

    Raises
    ------
    ModelError
        When it is not a number as one prints it.

    Examples
    --------
    >>> half_unit("1.1E-2")
    0.0005
    >>> half_unit("137")
    0.5
    """
    match = _NUMBER.fullmatch(printed)
    if match is None:
        raise ModelError("not a printed number", found=printed, expected="such as 0.75 or 1.1E-2")
    return 0.5 * 10.0 ** (int(match[2] or 0) - len(match[1] or ""))


def judge(check: Check, found: Found) -> Verdict:
    """Compare a value with what a check expects.

    The distance to the printed value may be half a unit in its last place plus three standard
    errors; the same, separately, for the exact value.
    """
    spread = STANDARD_ERRORS * found.std_error
    faults = []
    if not math.isfinite(found.value) or not math.isfinite(found.std_error):
        return Verdict(math.nan, ("no number was found",))
    if found.std_error > check.sharp * abs(found.value):
        faults.append("too vague to be a check")
    allowed = math.nan
    if check.exact is not None:
        own = check.within if check.printed is None else None
        allowed = (half_unit(check.exact) if own is None else own) + spread
        if abs(found.value - float(check.exact)) > allowed:
            faults.append("away from the exact value")
    if check.printed is not None:
        allowed = (half_unit(check.printed) if check.within is None else check.within) + spread
        met = abs(found.value - float(check.printed)) <= allowed
        if check.refuted and met:
            faults.append("meets a printed value that is known to be wrong")
        elif not check.refuted and not met:
            faults.append("away from the printed value")
    return Verdict(allowed, tuple(faults))


@dataclass(frozen=True)
class LeftOut:
    """A published case that the product cannot be set up to reproduce, and why."""

    case: str
    why: str


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
        "<!-- Written by shutoffsim.report.validation; do not edit. -->",
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
        f"    {COMMAND}",
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
        lines += ["| case | why not |", "|---|---|"]
        lines += [f"| {entry.case} | {entry.why} |" for entry in collection.left_out]
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
    lines = [
        "| what | source | known | printed | exact | shutoffsim | std error | allowed | verdict |",
        "|---|---|---|---:|---:|---:|---:|---:|---|",
    ]
    for (check, found, verdict), row_texts in zip(rows, texts, strict=True):
        marks = "".join(f" [{marked.index(text) + 1}]" for text in row_texts if text in marked)
        cells = (
            check.name + marks,
            check.source,
            check.evidence,
            check.printed or "",
            check.exact or "",
            *_rounded(found),
            f"{verdict.allowed:.2g}",
            _word(check, verdict),
        )
        lines.append("| " + " | ".join(cells) + " |")
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


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the checks of a folder; write the page, or say which checks fail."""
    parser = argparse.ArgumentParser(prog="python -m shutoffsim.report.validation")
    parser.add_argument("folder", help="folder with the checks, tests/published")
    parser.add_argument("--write", metavar="FILE", help="write the page here")
    options = parser.parse_args(arguments)
    try:
        collection = collect(options.folder)
        found = [check.find() for check in collection.checks]
        failing = [
            f"{check}: {', '.join(verdict.faults)}"
            for check, value in zip(collection.checks, found, strict=True)
            if not (verdict := judge(check, value)).passed
        ]
        if options.write:
            page = write_page(collection, found)
            with OutputFile(options.write) as file:
                file.write(page.encode())
    except ShutoffError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    print(f"{len(found) - len(failing)} of {len(found)} checks hold", *failing, sep="\n")
    return 1 if failing else 0


if __name__ == "__main__":
    raise SystemExit(main())
