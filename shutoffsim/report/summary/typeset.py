"""From words to a PDF file: the only place that knows the typesetter."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from importlib.resources import as_file, files
from typing import Any, Final

from shutoffsim.errors import OutputError
from shutoffsim.report.summary.letters import fonts_folder

#: A tagged PDF that screen readers can follow (PDF/UA-1, ISO 14289-1).
STANDARD: Final = "ua-1"
#: The same content gives the same bytes, so the file does not carry the time of its making.
_TIME: Final = datetime(2000, 1, 1, tzinfo=UTC)


def typeset(content: Mapping[str, Any]) -> bytes:
    """Return the pages as PDF.

    Only fonts that come with the typesetter and with matplotlib are used, so that every machine
    sets the same page. Texts go over as data and are never read as markup.

    Parameters
    ----------
    content : mapping
        Plain data that ``summary.typ`` lays out, see
        :func:`shutoffsim.report.summary.content.summary_content`.

    Raises
    ------
    OutputError
        When the typesetter is not installed, or cannot set the text.
    """
    typst = _typesetter()
    with as_file(files("shutoffsim.report.summary").joinpath("summary.typ")) as template:
        compiler = typst.Compiler(
            str(template),
            root=str(template.parent),
            font_paths=[str(fonts_folder())],
            ignore_system_fonts=True,
            sys_inputs={"content": json.dumps(content, ensure_ascii=False, allow_nan=False)},
        )
        try:
            pdf: bytes = compiler.compile(format="pdf", pdf_standards=STANDARD, timestamp=_TIME)
        except typst.TypstError as error:
            raise OutputError(
                "the pages cannot be set",
                found=str(error).splitlines()[0][:200],
                expected="text that fits two pages",
                hint="shorten the names and the description of the scenario",
            ) from None
    return pdf


def check_typesetter() -> None:
    """Complain early when the typesetter is missing.

    Raises
    ------
    OutputError
        When it is not installed.
    """
    _typesetter()


def _typesetter() -> Any:
    try:
        import typst
    except ImportError:
        raise OutputError(
            "setting a PDF needs a package that is not installed",
            found="no package typst",
            expected="the optional part pdf of shutoffsim",
            hint='run: pip install "shutoffsim[pdf]"',
        ) from None
    return typst
