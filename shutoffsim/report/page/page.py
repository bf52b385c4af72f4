"""An assessment as one HTML page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from shutoffsim.report.files import OutputFile
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.page.parts import (
    answer,
    doubt,
    drive,
    knows,
    leaks,
    losses,
    sources,
    stories,
    upkeep,
    worth,
)
from shutoffsim.report.page.render import render
from shutoffsim.study.cautions import ESTIMATE

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment

PAGE_ENDS = (".html", ".htm")
KIND = "Report on expected water damage"
_PARTS = (
    answer.answer,
    answer.side_by_side,
    losses.losses,
    leaks.modes,
    leaks.times,
    stories.stories,
    drive.torque,
    knows.knows,
    worth.worth,
    doubt.doubt,
    upkeep.upkeep,
    sources.cautions,
    sources.sources,
    sources.again,
)


def page(found: Assessment) -> str:
    """Return an assessment as the text of an HTML file that needs nothing else.

    The same assessment always gives the same text.

    Parameters
    ----------
    found : Assessment
        From :func:`shutoffsim.study.assessment.assess`, or read from a result folder.
    """
    designs = Designs(found)
    foot = (
        f"Made by simulation: shutoffsim {found.version}, scenario {found.scenario_hash}, seed "
        f"{found.seed}. {ESTIMATE}",
    )
    return render(
        found.scenario,
        found.description,
        KIND,
        [part(found, designs) for part in _PARTS],
        foot,
        (found.scenario, *designs.names),
    )


def write_page(found: Assessment, path: str | Path) -> None:
    """Write the page to a file, in full or not at all.

    Raises
    ------
    OutputError
        When it cannot be written there.
    """
    with OutputFile(path, PAGE_ENDS) as file:
        file.write(page(found).encode())
