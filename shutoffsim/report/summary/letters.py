"""Text of users, made fit for a page of fixed size."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any

#: Key of a figure in the content of the pages.
PICTURE = "picture"
_LONGEST_WORD = 24
_BREAK = "\N{ZERO WIDTH SPACE}"
_ISOLATE, _END_ISOLATE = "\N{FIRST STRONG ISOLATE}", "\N{POP DIRECTIONAL ISOLATE}"
_JOINERS = "\N{ZERO WIDTH JOINER}\N{ZERO WIDTH NON-JOINER}"


def clean(text: str) -> str:
    r"""Return a text on one line, without letters that control or reorder what follows.

    >>> clean("a\tname\u202e\x07")
    'a name'
    """
    kept = (
        letter
        for letter in text
        if letter.isspace()
        or letter in _JOINERS
        or unicodedata.category(letter) not in ("Cc", "Cf", "Cs", "Co", "Cn")
    )
    return " ".join("".join(kept).split())


def short(text: str, most: int) -> str:
    """Return a text no wider than ``most`` letters, its end cut off if need be.

    Letters of double width, such as Chinese ones, count twice.

    >>> short("a rather long name", 10)
    'a rather…'
    """
    whole = clean(text)
    room = float(most)
    for at, letter in enumerate(whole):
        room -= 2 if unicodedata.east_asian_width(letter) in "WF" else 1
        if room < 0:
            return _apart(whole[: max(at - 1, 0)].rstrip() + "…")
    return _apart(whole)


def _apart(text: str) -> str:
    """Return a text that, if it is written from right to left, leaves its neighbours in order."""
    if any(unicodedata.bidirectional(letter) in ("R", "AL", "AN") for letter in text):
        return f"{_ISOLATE}{text}{_END_ISOLATE}"
    return text


def breakable(text: str) -> str:
    """Return a text in which very long words may be broken anywhere."""

    def split(match: re.Match[str]) -> str:
        word = match.group()
        pieces = (word[at : at + 8] for at in range(0, len(word), 8))
        return _BREAK.join(pieces)

    return re.sub(rf"\S{{{_LONGEST_WORD},}}", split, text)


def sentence(text: str, most: int = 240) -> str:
    """Return a text with a capital at its beginning and a full stop at its end.

    >>> sentence("it rains")
    'It rains.'
    """
    told = short(text, most).rstrip(".")
    return f"{told[:1].upper()}{told[1:]}."


def glued(text: str) -> str:
    """Return a text in which a number stays with what follows it, such as its unit."""
    return re.sub(r"(?<=\d) (?=\S)", "\N{NO-BREAK SPACE}", text)


def missing_letters(content: Any) -> list[str]:
    """Return the letters of some content that no font in use has, each once.

    Parameters
    ----------
    content : nested dict, list, str
        What is set; pictures, which carry their letters as outlines, are left out.
    """
    known = _letters_of_fonts()
    found = dict.fromkeys(letter for text in _texts(content) for letter in text)
    return [
        letter
        for letter in found
        if ord(letter) not in known
        and not letter.isspace()
        and unicodedata.category(letter) not in ("Cf", "Mn")
    ]


def _texts(item: Any) -> Iterator[str]:
    if isinstance(item, str):
        yield item
    elif isinstance(item, dict):
        for key, value in item.items():
            if key != PICTURE:
                yield from _texts(value)
    elif isinstance(item, list | tuple):
        for value in item:
            yield from _texts(value)


def fonts_folder() -> Path:
    """Return the folder of matplotlib's fonts: letters of many scripts that others lack."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf"


@cache
def _letters_of_fonts() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    names = sorted(fonts_folder().glob("DejaVu*.ttf"))
    return frozenset(code for name in names for code in FT2Font(str(name)).get_charmap())


def listed(names: Sequence[str], most: int = 4, letters: int = 24) -> str:
    """Return names in a row; of many, the first ones and how many more there are.

    >>> listed(["a", "b", "c"], most=2)
    'a, b and 1 more'
    """
    shown = [short(name, letters) for name in names[:most]]
    rest = len(names) - len(shown)
    if rest:
        return f"{', '.join(shown)} and {rest} more"
    return " and ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)
