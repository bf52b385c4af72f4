"""The values that a design rests on, looked up by key and put in words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from shutoffsim.scenario.entries import columns

if TYPE_CHECKING:
    from shutoffsim.scenario.entries import Entry
    from shutoffsim.study.assessment.result import UsedValue

_MIDDLES = ("median", "mean", "life")
_SYMBOLS = {"m2": "m²", "m3": "m³", "N*m": "N·m", "kgf*cm": "kgf·cm", "degC": "°C", "ohm": "Ω"}


class Values:
    """A design's values with units.

    Parameters
    ----------
    rows : iterable of UsedValue or Entry
        Those that have an effect in the design.
    """

    def __init__(self, rows: Iterable[UsedValue | Entry]) -> None:
        self._rows = {row.key: row for row in rows}

    def text(self, key: str, default: str = "") -> str:
        """Return a value with its unit; of a spread value the middle, or from where to where."""
        row = self._rows.get(key)
        return default if row is None else _simple(row)

    def says(self, key: str) -> bool:
        """Whether a value is true."""
        row = self._rows.get(key)
        return row is not None and row.written is True

    def often(self, key: str) -> str | None:
        """Return an interval or an age, None when it is missing or "never"."""
        found = self.text(key, "never")
        return None if found == "never" else found

    def each(self, section: str, field: str) -> dict[str, str]:
        """Return one field of all entries of a section, by the entries' names."""
        return {
            row.path[1]: _simple(row)
            for row in self._rows.values()
            if len(row.path) == 3 and row.path[::2] == (section, field)
        }


def _simple(row: UsedValue | Entry) -> str:
    written = row.written
    if isinstance(written, Mapping) and row.dimension:
        if middle := next((written[key] for key in _MIDDLES if key in written), None):
            return f"about {_symbols(str(middle))}"
        if "low" in written:
            (low, unit), (high, other) = (
                columns(written[key], row.dimension) for key in ("low", "high")
            )
            start = low if unit == other else f"{low} {unit}"
            return _symbols(f"{start} to {high} {other}".strip())
    return _symbols(" ".join(columns(written, row.dimension)).strip())


def _symbols(text: str) -> str:
    for plain, symbol in _SYMBOLS.items():
        text = re.sub(rf"(?<![\w*]){re.escape(plain)}(?![\w*])", symbol, text)
    return text
