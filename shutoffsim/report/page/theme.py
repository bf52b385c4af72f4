"""Colours of the page: one set for light, one for dark, each with a name.

The series colours follow seaborn's palette "colorblind", darkened or lightened until each stands
out from its ground by at least 3 to 1 (WCAG 2.2, success criterion 1.4.11); text by 4.5 to 1
(1.4.3). Nothing is shown by colour alone: designs have a letter and a shape as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple


class Colour(NamedTuple):
    """A colour on light and on dark ground, as #rrggbb."""

    light: str
    dark: str


COLOURS: Final[Mapping[str, Colour]] = {
    "ground": Colour("#fcfcfa", "#15191c"),
    "panel": Colour("#f1f3f0", "#20262a"),
    "ink": Colour("#1c2226", "#e7eae8"),
    "soft": Colour("#565f66", "#a9b2b6"),
    "line": Colour("#d3d8d4", "#3a4348"),
    "accent": Colour("#0b5a75", "#86c9e2"),
    "series-0": Colour("#6b7378", "#a3acb0"),  # the reference
    "series-1": Colour("#0173b2", "#56b4e9"),
    "series-2": Colour("#b27300", "#de8f05"),
    "series-3": Colour("#028a64", "#1fbf91"),
    "series-4": Colour("#c45500", "#f0803c"),
    "series-5": Colour("#b0559c", "#d98fca"),
    "series-6": Colour("#8f6a3a", "#ca9161"),
    "series-7": Colour("#7a7200", "#d9d05a"),
    "series-8": Colour("#5457a6", "#a9acf5"),
    "series-9": Colour("#a23b4a", "#f08a97"),
}
SERIES: Final = sum(name.startswith("series-") for name in COLOURS)
MARKERS: Final = ("s", "o", "^", "D", "v", "P", "X", "p", "<", "h")
DASHES: Final = (
    (4.0, 1.5),
    (1.0, 0.0),
    (5.0, 1.0, 1.0, 1.0),
    (2.0, 1.0),
    (1.0, 1.0),
    (7.0, 1.5),
    (3.0, 1.0, 1.0, 1.0, 1.0, 1.0),
    (1.0, 2.0),
    (8.0, 2.0, 1.0, 2.0),
    (4.0, 1.0),
)


def drawn(name: str) -> str:
    """Return the colour to draw with: the one on light ground, replaced when it is embedded."""
    return COLOURS[name].light


def series(number: int) -> str:
    """Return the name of the colour of a design, from its place among those drawn."""
    return f"series-{number % SERIES}"


def letter(number: int) -> str:
    """Return the letter that stands for a design.

    >>> letter(0), letter(25), letter(26)
    ('A', 'Z', 'AA')
    """
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def declarations(dark: bool) -> str:
    """Return the colours as CSS custom properties."""
    return " ".join(
        f"--{name}: {colour.dark if dark else colour.light};" for name, colour in COLOURS.items()
    )
