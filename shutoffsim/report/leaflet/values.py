"""The values that a design rests on, looked up by key and put in words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Value

_MIDDLE = re.compile(r"(?:median|mean|life) ([^,]+)")
_RANGE = re.compile(r"low ([^,]+), high ([^,]+)")
_SYMBOLS = {"m2": "m²", "m3": "m³", "N*m": "N·m", "kgf*cm": "kgf·cm", "degC": "°C", "ohm": "Ω"}


class Values:
    """A design's values with units.

    Parameters
    ----------
    rows : iterable of Value
        Those that have an effect in the design.
    """

    def __init__(self, rows: Iterable[Value]) -> None:
        self._texts = {row.key: _simple(row.value, row.unit) for row in rows}

    def text(self, key: str, default: str = "") -> str:
        """Return a value with its unit; of a spread value the middle, or from where to where."""
        return self._texts.get(key, default)

    def says(self, key: str) -> bool:
        """Whether a value is "yes"."""
        return self._texts.get(key) == "yes"

    def often(self, key: str) -> str | None:
        """Return an interval or an age, None when it is missing or "never"."""
        found = self.text(key, "never")
        return None if found == "never" else found

    def each(self, section: str, field: str) -> dict[str, str]:
        """Return one field of all entries of a section, by the entries' names."""
        start, end = f"{section}.", f".{field}"
        found = {}
        for key, text in self._texts.items():
            if key.startswith(start) and key.endswith(end) and len(key) > len(start) + len(end):
                name = key[len(start) : -len(end)]
                if name.startswith('"') or "." not in name:
                    found[name.removeprefix('"').removesuffix('"')] = text
        return found


def _simple(value: str, unit: str) -> str:
    if match := _RANGE.match(value):
        value = f"{match[1]} to {match[2]}"
    elif match := _MIDDLE.match(value):
        value = f"about {match[1]}"
    text = f"{value} {unit}".strip()
    for plain, symbol in _SYMBOLS.items():
        text = re.sub(rf"(?<![\w*]){re.escape(plain)}(?![\w*])", symbol, text)
    return text
