"""From a figure to a picture that is part of a page: themed, scalable, its text selectable."""

from __future__ import annotations

import re
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from io import BytesIO
from typing import Any, Final

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from shutoffsim.report.page.blocks import Cell, Picture, Table
from shutoffsim.report.page.theme import COLOURS, drawn

_SVG: Final = "http://www.w3.org/2000/svg"
_LINK: Final = "{http://www.w3.org/1999/xlink}href"
_STYLE: Final[Any] = {  # keys of matplotlib's settings
    "font.size": 9.5,
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "shutoffsim",
    "text.parse_math": False,
    "text.color": drawn("ink"),
    "axes.labelcolor": drawn("soft"),
    "axes.labelsize": 9.5,
    "axes.edgecolor": drawn("line"),
    "axes.linewidth": 1.0,
    "lines.solid_capstyle": "round",
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "grid.color": drawn("line"),
    "grid.linewidth": 0.6,
    "xtick.color": drawn("soft"),
    "ytick.color": drawn("soft"),
    "xtick.labelsize": 9.0,
    "ytick.labelsize": 9.0,
    "xtick.major.size": 0.0,
    "ytick.major.size": 0.0,
    "xtick.minor.size": 0.0,
    "ytick.minor.size": 0.0,
    "figure.facecolor": "none",
    "axes.facecolor": "none",
}
WIDTH: Final = 4.7  # inches; narrow, so that letters stay readable on a phone


def canvas(height: float = 3.2) -> tuple[Figure, Axes]:
    """Return an empty figure in the page's style, and its axes.

    Parameters
    ----------
    height : float
        In inches; the width is :data:`WIDTH`.
    """
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(WIDTH, height), layout="constrained")
        axes = figure.add_subplot()
    return figure, axes


def embed(figure: Figure, name: str, title: str, told: str) -> Markup:
    """Return a figure as an SVG element to be put into a page.

    Its colours become the page's, its ids begin with ``name``, and its font is the page's. The
    same figure always gives the same text.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        From :func:`canvas`.
    name : str
        Unique in the page; letters, digits and hyphens.
    title, told : str
        What it is, and what it shows, in words; any text.
    """
    with mpl.rc_context(_STYLE), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # the browser has it
        data = BytesIO()
        figure.savefig(data, format="svg", metadata={"Date": None, "Creator": None})
    root = ET.fromstring(data.getvalue())
    _strip(root)
    for element in root.iter():
        _adopt(element, name)
    for key in ("width", "height", "version"):
        root.attrib.pop(key, None)
    root.set("role", "img")
    root.set("aria-labelledby", f"{name}-title {name}-desc")
    for place, (tag, text) in enumerate((("title", title), ("desc", told))):
        child = ET.Element(f"{{{_SVG}}}{tag}")
        child.set("id", f"{name}-{tag}")
        child.text = _printable(text)
        root.insert(place, child)
    ET.register_namespace("", _SVG)
    return Markup(ET.tostring(root, encoding="unicode"))


def picture(
    name: str,
    title: str,
    told: str,
    figure: Figure,
    table: Table,
    designs: Sequence[Cell] = (),
    note: str = "",
) -> Picture:
    """Return a figure from :func:`canvas` as a block of the page, see :class:`Picture`."""
    return Picture(name, title, told, embed(figure, name, title, told), table, designs, note)


def _strip(root: ET.Element) -> None:
    """Remove what belongs to a file of its own; a style here would hold for the whole page."""
    for tag in ("metadata", "defs"):
        for child in root.findall(f"{{{_SVG}}}{tag}"):
            if tag == "metadata" or child.find(f"{{{_SVG}}}style") is not None:
                root.remove(child)
    figure = root.find(f"{{{_SVG}}}g")
    if figure is not None:
        for child in list(figure):
            if child.get("id") == "patch_1":
                figure.remove(child)  # the ground is the page's


def _adopt(element: ET.Element, name: str) -> None:
    element.tail = None
    if element.text is not None and not element.text.strip():
        element.text = None
    if "id" in element.attrib:
        # Groups need no names, and what others point to must be unique in the page.
        if element.tag == f"{{{_SVG}}}g":
            del element.attrib["id"]
        else:
            element.set("id", f"{name}-{element.attrib['id']}")
    if _LINK in element.attrib:
        element.set("href", f"#{name}-{element.attrib.pop(_LINK)[1:]}")
    if "clip-path" in element.attrib:
        element.set("clip-path", element.attrib["clip-path"].replace("url(#", f"url(#{name}-"))
    if "d" in element.attrib:
        element.set("d", _shorter(element.attrib["d"]))
    if "style" in element.attrib:
        element.set("style", _restyled(element.attrib["style"]))
    if element.attrib.get("transform", "").startswith("rotate(-0 "):
        del element.attrib["transform"]


def _restyled(style: str) -> str:
    style = re.sub(r"font-family: [^;]*;?\s*", "", style)
    for name, colour in COLOURS.items():
        style = style.replace(colour.light, f"var(--{name})")
    return style


def _shorter(path: str) -> str:
    rounded = re.sub(r"-?\d+\.\d+", lambda m: f"{float(m[0]):.2f}".rstrip("0").rstrip("."), path)
    return " ".join(rounded.split())


def _printable(text: str) -> str:
    """Return a text without the control characters that a page must not contain."""
    return "".join(letter for letter in text if letter.isprintable() or letter.isspace())
