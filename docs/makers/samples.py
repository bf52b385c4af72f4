"""Sample results in ``reports/``: page, summary, and the folder they are made from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from makers import ROOT, Files

SAMPLES = ROOT / "reports"
SAMPLED = ("holiday_cottage", "clinic_above_shop", "terraced_house")
SAMPLED_HISTORIES = 8  # whose incidents are kept, so that the samples stay small


def sample(stem: str) -> Files:
    """Yield the files of the sample of a scenario, simulated anew."""
    import pyarrow.compute as pc

    import shutoffsim
    from shutoffsim.cli.options import WORLDS

    file = f"scenarios/{stem}.toml"
    found = shutoffsim.assess(shutoffsim.load(ROOT / file), where=file, worlds=WORLDS)
    kept = found.incidents.filter(pc.field("history") < SAMPLED_HISTORIES)
    with TemporaryDirectory() as place:
        folder = Path(place) / stem
        shutoffsim.save_assessment(replace(found, incidents=kept), folder)
        for path in sorted(folder.iterdir()):
            yield SAMPLES / stem / path.name, path.read_bytes()
        yield from sample_pages(stem, folder)


def sample_pages(stem: str, folder: Path) -> Iterator[tuple[Path, bytes]]:
    """Yield page and summary of a sample, made from its folder."""
    import shutoffsim
    from shutoffsim.report.page.page import page
    from shutoffsim.report.summary.content import summary_content
    from shutoffsim.report.summary.typeset import typeset

    found = shutoffsim.load_assessment(folder)
    yield SAMPLES / f"{stem}.html", page(found).encode()
    yield SAMPLES / f"{stem}.pdf", typeset(summary_content(found, paper="a4"))


def files() -> Files:
    """Yield the files of all samples."""
    for stem in SAMPLED:
        yield from sample(stem)
