"""Bring what the program writes about itself up to date: all of it, or the parts that are named.

Run it from a checkout::

    python docs/refresh.py                # everything: many minutes
    python docs/refresh.py lists outputs  # only these

The tests make the same files and compare, so none goes stale unnoticed.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

#: Modules of ``makers``, what later parts build on first, what takes minutes last.
PARTS = (
    "units",
    "lists",
    "reference",
    "directions",
    "outputs",
    "samples",
    "validation",
    "calibration",
)


def refresh(part: str) -> list[Path]:
    """Write the files of a part that are not up to date, and return them."""
    from shutoffsim.report.files import OutputFile

    renewed = []
    for file, content in import_module(f"makers.{part}").files():
        if not file.is_file() or file.read_bytes() != content:
            file.parent.mkdir(exist_ok=True)
            with OutputFile(file) as output:
                output.write(content)
            print(f"renewed {file}")
            renewed.append(file)
    return renewed


def main(words: Sequence[str] | None = None) -> int:
    """Renew the parts named, else all, and return the exit code."""
    from shutoffsim.errors import ShutoffError

    parser = argparse.ArgumentParser(prog="python docs/refresh.py", description="Renew pages.")
    parser.add_argument("part", nargs="*", help=f"Renew only these: {', '.join(PARTS)}.")
    parts = parser.parse_args(words).part
    unknown = [part for part in parts if part not in PARTS]
    if unknown:
        parser.error(f"no part is called {unknown[0]!r}; there are {', '.join(PARTS)}")
    try:
        for part in parts or PARTS:
            refresh(part)
    except ShutoffError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    return 0


if __name__ == "__main__":
    # This checkout, and not what may be installed; the checks of published numbers are in tests.
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
    raise SystemExit(main())
