"""Bring what the pages show up to date: outputs of commands, pictures, and the sample results.

Run it from a checkout after a change of numbers::

    python docs/refresh.py             # some minutes
    python docs/refresh.py --samples   # only the sample results in reports/

A page asks for an output with a comment above a block of text::

    <!-- output of: shutoffsim compare scenarios/holiday_cottage.toml -->

The tests run the same commands and compare, so a page cannot go stale unnoticed.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PICTURE = ROOT / "docs" / "images" / "holiday_cottage.svg"
PICTURED = ROOT / "scenarios" / "holiday_cottage.toml"
SAMPLES = ROOT / "reports"
SAMPLED = ("holiday_cottage", "clinic_above_shop", "terraced_house")
SAMPLED_HISTORIES = 8  # whose incidents are kept, so that the samples stay small
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


def refresh(text: str) -> str:
    """Return a page with all its outputs renewed."""
    return _SHOWN.sub(lambda match: match[1] + run_command(match[2]) + match[4], text)


def draw_picture() -> None:
    """Draw the picture of the README from the comparison that it shows."""
    import shutoffsim
    from shutoffsim.report.figures import forest, save_figure

    PICTURE.parent.mkdir(exist_ok=True)
    save_figure(forest(shutoffsim.compare(shutoffsim.load(PICTURED))), PICTURE)


def write_sample(stem: str) -> None:
    """Write the sample results of a scenario: page, summary, and the folder they are made from."""
    import pyarrow.compute as pc

    import shutoffsim
    from shutoffsim.report.archive import save_assessment
    from shutoffsim.report.files import OutputFile

    file = f"scenarios/{stem}.toml"
    found = shutoffsim.assess(shutoffsim.load(ROOT / file), where=file)
    kept = found.incidents.filter(pc.field("history") < SAMPLED_HISTORIES)
    save_assessment(replace(found, incidents=kept), SAMPLES / stem)
    for kind, content in sample_pages(stem).items():
        with OutputFile(SAMPLES / f"{stem}.{kind}") as output:
            output.write(content)


def sample_pages(stem: str) -> dict[str, bytes]:
    """Return page (html) and summary (pdf) of a sample's folder, by kind."""
    import shutoffsim
    from shutoffsim.report.leaflet.content import leaflet_content
    from shutoffsim.report.leaflet.typeset import typeset
    from shutoffsim.report.page.page import page

    found = shutoffsim.load_assessment(SAMPLES / stem)
    return {"html": page(found).encode(), "pdf": typeset(leaflet_content(found, paper="a4"))}


def main() -> None:
    """Renew all pages, pictures and samples."""
    sys.path.insert(0, str(ROOT))
    for stem in SAMPLED:
        write_sample(stem)
        print(f"wrote reports/{stem}")
    if sys.argv[1:] == ["--samples"]:
        return
    for page in pages():
        before = page.read_text(encoding="utf-8")
        after = refresh(before)
        if after != before:
            page.write_text(after, encoding="utf-8")
            print(f"renewed {page.relative_to(ROOT)}")
    draw_picture()
    print(f"drew {PICTURE.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
