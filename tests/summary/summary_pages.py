"""Reading a summary back, and assessments with other names."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace

import pypdf

from shutoffsim.report.summary.content import Paper, summary_content
from shutoffsim.report.summary.typeset import typeset
from shutoffsim.study.assessment.result import Assessment


def make(assessment: Assessment, design: str | None = None, paper: Paper = "a4") -> bytes:
    """The PDF file of a summary."""
    return typeset(summary_content(assessment, design, paper))


def read(pdf: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf))


def text(pdf: bytes) -> str:
    """All text in one line, with ordinary spaces only."""
    whole = " ".join(page.extract_text() for page in read(pdf).pages)
    return " ".join(whole.replace("\N{ZERO WIDTH SPACE}", "").split())


def renamed(
    assessment: Assessment, name: Callable[[str], str], described: str | None = None
) -> Assessment:
    """The same assessment with other names of site, designs and zones."""
    told = assessment.comparison
    comparison = replace(
        told,
        scenario=name(told.scenario),
        designs=tuple(replace(d, name=name(d.name)) for d in told.designs),
        differences=tuple(
            replace(d, design=name(d.design), reference=name(d.reference)) for d in told.differences
        ),
    )
    values = tuple(
        replace(
            v,
            written=name(v.written) if v.path[-1] == "zone" else v.written,
            designs=tuple(map(name, v.designs)),
            used_in=tuple(map(name, v.used_in)),
        )
        for v in assessment.values
    )
    description = assessment.description if described is None else described
    return replace(
        assessment,
        scenario=name(assessment.scenario),
        description=description,
        reference=name(assessment.reference),
        chosen=name(assessment.chosen),
        comparison=comparison,
        designs=tuple(
            replace(d, name=name(d.name), description=described or d.description)
            for d in assessment.designs
        ),
        values=values,
    )


def with_copies(assessment: Assessment, number: int) -> Assessment:
    """The same assessment with copies of its last design, as further designs."""
    results, told = assessment.comparison.designs, assessment.designs
    names = [f"copy number {n}" for n in range(number)]
    gap = assessment.comparison.differences[-1]
    last = told[-1].name
    comparison = replace(
        assessment.comparison,
        designs=results + tuple(replace(results[-1], name=name) for name in names),
        differences=assessment.comparison.differences
        + tuple(replace(gap, design=name) for name in names),
    )
    values = tuple(
        replace(v, designs=(*v.designs, *names), used_in=(*v.used_in, *names))
        if last in v.used_in
        else v
        for v in assessment.values
    )
    return replace(
        assessment,
        comparison=comparison,
        designs=told + tuple(replace(told[-1], name=name) for name in names),
        values=values,
    )
