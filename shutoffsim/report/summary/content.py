"""What the two pages say: an assessment put into words, in the order of the pages."""

from __future__ import annotations

from typing import Any, Final, Literal

from shutoffsim.report.summary.first_page import first_page, known_of, summary_answer, tiles
from shutoffsim.report.summary.letters import PICTURE, breakable, glued, short
from shutoffsim.report.summary.second_page import second_page
from shutoffsim.report.summary.subject import LONGEST_NAME, Subject
from shutoffsim.study.assessment.result import Assessment

Paper = Literal["a4", "us-letter"]
NAME: Final = "Water damage risk summary"
NOTICE: Final = (
    "This is an estimate from a simulation under stated assumptions, meant for comparing "
    "protections. It is not an approval, a certificate or a condition of insurance."
)
#: Sizes of letters that are tried, pt: the largest that fits is taken.
SIZES: Final = tuple(round(10.4 - 0.2 * step, 1) for step in range(21))
_LONGEST_DESCRIPTION: Final = 200
_LONGEST_HEAD: Final = 60


def summary_content(
    assessment: Assessment, design: str | None = None, paper: Paper = "a4"
) -> dict[str, Any]:
    """Return what ``summary.typ`` sets: plain data, all words included.

    Parameters
    ----------
    assessment : Assessment
    design : str, optional
        What the summary is about. Default: the assessment's chosen design.
    paper : {"a4", "us-letter"}

    Raises
    ------
    ModelError
        When there is no such design.
    """
    subject = Subject(assessment, assessment.chosen if design is None else design)
    assessment.design(subject.design)  # complains of an unknown one
    site = short(assessment.scenario, LONGEST_NAME)
    content = {
        "language": "en",
        "paper": paper,
        "sizes": SIZES,
        "title": f"{NAME}: {site}",
        "keywords": ["water damage", "risk summary", "estimate"],
        "head": {"left": NAME, "right": short(subject.design, _LONGEST_HEAD)},
        "foot": _foot(assessment),
        "pages": ["page 1 of 2", "page 2 of 2"],
        "name": site,
        "subtitle": _subtitle(subject),
        "description": short(assessment.description, _LONGEST_DESCRIPTION),
        "notice": NOTICE,
        "answer": summary_answer(subject),
        "known": known_of(subject),
        "tiles": tiles(subject),
        "first": first_page(subject),
        "second": second_page(subject),
    }
    broken: dict[str, Any] = _breakable(content)
    return broken


def _breakable(item: Any) -> Any:
    if isinstance(item, str):
        return breakable(glued(item))
    if isinstance(item, dict):
        return {key: value if key == PICTURE else _breakable(value) for key, value in item.items()}
    if isinstance(item, list | tuple):
        return [_breakable(value) for value in item]
    return item


def _foot(assessment: Assessment) -> str:
    return (
        f"scenario {assessment.scenario_hash}, {assessment.histories:,} histories of "
        f"{assessment.horizon_years:g} years with {assessment.probes} probes each, seed "
        f"{assessment.seed}, shutoffsim {short(assessment.version, 20)}"
    )


def _subtitle(subject: Subject) -> str:
    described = short(subject.told.description, _LONGEST_DESCRIPTION)
    name = f"Protection: “{short(subject.design, LONGEST_NAME)}”"
    return f"{name}. {described}" if described else name
