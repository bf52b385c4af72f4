"""From sections to one HTML text that needs nothing else."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from shutoffsim.report.page.blocks import Section
from shutoffsim.report.page.theme import declarations
from shutoffsim.version import __version__

_TEMPLATES = "templates"


def render(
    name: str,
    description: str,
    kind: str,
    sections: Sequence[Section],
    foot: Sequence[str],
    names: Iterable[str],
) -> str:
    """Return the page.

    Parameters
    ----------
    name, description, kind : str
        Of the scenario, and what sort of paper this is.
    sections : sequence of Section
    foot : sequence of str
        Closing lines.
    names : iterable of str
        Names that people chose. Where they stand in a sentence they are set apart, so that letters
        written from right to left cannot reorder what is around them.
    """
    environment = Environment(
        loader=PackageLoader("shutoffsim.report.page", _TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_shown,
    )
    environment.filters["isolated"] = Isolator(names)
    page = environment.get_template("page.html.j2").render(
        name=name,
        description=description,
        kind=kind,
        title=f"{printable(name)}: {kind}",
        sections=sections,
        foot=foot,
        css=_css(),
        version=__version__,
    )
    return "\n".join(line.rstrip() for line in page.splitlines() if line.strip()) + "\n"


def _css() -> Markup:
    """Return the style sheet; the colours come first, light unless dark is preferred."""
    light, dark = declarations(dark=False), declarations(dark=True)
    colours = (
        f":root {{ color-scheme: light dark; {light} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}\n"
    )
    sheet = files("shutoffsim.report.page").joinpath(_TEMPLATES, "page.css")
    return Markup(colours + sheet.read_text(encoding="utf-8"))


def printable(text: str) -> str:
    r"""Return a text without letters that HTML forbids or that steer the letters around them.

    >>> printable("a\x00b\u202ec")
    'abc'
    """
    return "".join(
        letter
        for letter in text
        if letter in "\n\t\N{ZERO WIDTH JOINER}\N{ZERO WIDTH NON-JOINER}"
        or unicodedata.category(letter) not in ("Cc", "Cf", "Cs", "Co", "Cn")
    )


def _shown(value: object) -> object:
    return printable(value) if type(value) is str else value


class Isolator:
    """Sets people's names in a sentence apart from it.

    Parameters
    ----------
    names : iterable of str
    """

    def __init__(self, names: Iterable[str]) -> None:
        longest_first = sorted({f"“{name}”" for name in names if name}, key=len, reverse=True)
        self._pattern = re.compile("|".join(map(re.escape, longest_first)) or r"(?!)")

    def __call__(self, text: object) -> Markup:
        """Return the escaped text with “name” as “<bdi>name</bdi>”."""
        if isinstance(text, Markup):
            return text
        whole = str(text)
        parts, at = [], 0
        for match in self._pattern.finditer(whole):
            parts.append(escape(printable(whole[at : match.start()])))
            parts.append(Markup("“<bdi>{}</bdi>”").format(printable(match[0][1:-1])))
            at = match.end()
        parts.append(escape(printable(whole[at:])))
        return Markup("").join(parts)
