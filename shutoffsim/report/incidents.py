"""The incident table as a file, written piece by piece."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from shutoffsim.report.table_file import TableFile
from shutoffsim.study.incidents import SCHEMA, in_order, incident_table

if TYPE_CHECKING:
    from shutoffsim.engine.run import Chunk
    from shutoffsim.scenario import Scenario


class IncidentFile(TableFile):
    """A file that takes chunks of incidents.

    Parameters
    ----------
    path : str or pathlib.Path
        Its end, ``.csv`` or ``.parquet``, chooses the form.
    scenario : Scenario
    designs : tuple of str
        The designs that are run, in order.
    """

    def __init__(self, path: str | Path, scenario: Scenario, designs: tuple[str, ...]) -> None:
        super().__init__(path, SCHEMA)
        self._scenario = scenario
        self._designs = designs
        self._params = scenario.parameters(designs)

    def add_chunk(self, chunk: Chunk) -> None:
        """Append the probes of a chunk."""
        rows = in_order(chunk.rows)
        self.add(incident_table(rows, self._scenario, self._designs, self._params))


_PARTS = {
    "fixed": "what any damaging leak costs",
    "building": "building",
    "mould": "mould and swelling",
    "contents": "contents",
    "below": "units below",
}


def loss_in_words(parts: Mapping[str, float], factor: float) -> str:
    """Return what a loss is made of, in a sentence without its end.

    Parameters
    ----------
    parts : mapping of str to float
        Money by :data:`shutoffsim.model.damage.LOSS_PARTS`; they add up to the loss.
    factor : float
        What all of them were multiplied by.

    Examples
    --------
    >>> loss_in_words({"fixed": 150.0, "building": 1000.0, "mould": 0.0}, 0.5)
    'what any damaging leak costs 150, building 1,000; all times 0.5 for what is not modelled'
    """
    told = ", ".join(f"{_PARTS[name]} {money:,.0f}" for name, money in parts.items() if money > 0.0)
    return f"{told}; all times {factor:.2g} for what is not modelled"
