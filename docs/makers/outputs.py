"""Outputs of commands that pages show, and the picture of the README.

A page asks for an output with a comment above a block of text::

    <!-- output of: shutoffsim compare scenarios/holiday_cottage.toml -->
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

from makers import DOCS, ROOT, Files

PICTURE = DOCS / "images" / "holiday_cottage.svg"
PICTURED = ROOT / "scenarios" / "holiday_cottage.toml"
WIDTH = 80
_SHOWN = re.compile(r"(<!-- output of: shutoffsim (.*?) -->\n```text\n)(.*?)(```\n)", re.DOTALL)


def pages() -> list[Path]:
    """Return the pages that may show outputs."""
    top = [ROOT / "README.md", ROOT / "DEVELOPERS.md"]
    return top + [
        page for folder in ("docs", "reports") for page in sorted((ROOT / folder).glob("*.md"))
    ]


def shown_outputs(text: str) -> dict[str, str]:
    """Return what a page shows, by command line."""
    return {match[2]: match[3] for match in _SHOWN.finditer(text)}


def run_command(line: str) -> str:
    """Return what a command line prints on a terminal of 80 letters, without trailing spaces."""
    import shutoffsim

    package = Path(shutoffsim.__file__).resolve().parent.parent
    done = subprocess.run(
        # -P: the package in use, even where this folder holds another copy of it.
        [sys.executable, "-P", "-m", "shutoffsim", *shlex.split(line)],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(package), "COLUMNS": str(WIDTH)},
        capture_output=True,
        text=True,
        check=True,
    )
    return "".join(f"{row.rstrip()}\n" for row in done.stdout.splitlines())


def renew(text: str) -> str:
    """Return a page with all its outputs made anew."""
    return _SHOWN.sub(lambda match: match[1] + run_command(match[2]) + match[4], text)


def picture() -> bytes:
    """Return the picture of the README, drawn from the comparison that it shows."""
    import shutoffsim
    from shutoffsim.report.figures import drawn
    from shutoffsim.report.plots import figure_of

    return drawn(figure_of(shutoffsim.compare(shutoffsim.load(PICTURED)), "damage"), "svg")


def files() -> Files:
    """Yield the pages with all their outputs made anew, and the picture."""
    for page in pages():
        yield page, renew(page.read_text(encoding="utf-8")).encode()
    yield PICTURE, picture()
