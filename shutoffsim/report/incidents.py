"""The incident table as a file, written piece by piece."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

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
        self._zones = np.asarray(scenario.parameters(designs)["source_zone"])

    def add_chunk(self, chunk: Chunk) -> None:
        """Append the probes of a chunk."""
        rows = in_order(chunk.rows)
        self.add(incident_table(rows, self._scenario, self._designs, self._zones))
