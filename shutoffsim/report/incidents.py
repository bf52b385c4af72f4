"""The incident table as a file of columns, written piece by piece."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

import numpy as np
import pyarrow.parquet as pq

from shutoffsim.report.files import OutputFile
from shutoffsim.study.incidents import SCHEMA, incident_table

if TYPE_CHECKING:
    from shutoffsim.engine.run import Chunk
    from shutoffsim.scenario import Scenario
    from shutoffsim.study.compare import Comparison


class IncidentFile:
    """A Parquet file that takes chunks of incidents in constant memory.

    A context manager around :class:`shutoffsim.report.files.OutputFile`, with its errors.

    Parameters
    ----------
    path : str or pathlib.Path
    scenario : Scenario
    designs : tuple of str
        The designs that are run, in order.
    """

    def __init__(self, path: str | Path, scenario: Scenario, designs: tuple[str, ...]) -> None:
        self._path = path
        self._scenario = scenario
        self._designs = designs
        self._zones = np.asarray(scenario.parameters(designs)["source_zone"])
        self._stack = ExitStack()

    def __enter__(self) -> Self:
        with ExitStack() as stack:
            file = stack.enter_context(OutputFile(self._path))
            self._writer = stack.enter_context(pq.ParquetWriter(file, SCHEMA, compression="zstd"))
            self._stack = stack.pop_all()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stack.__exit__(kind, error, trace)

    def add(self, chunk: Chunk) -> None:
        """Append the probes of a chunk, in the order history, design, probe.

        Probes that stand for no leak (weight 0) are left out.
        """
        rows = np.swapaxes(chunk.rows, 0, 1).reshape(-1)
        rows = rows[rows["weight"] > 0.0]
        table = incident_table(rows, self._scenario, self._designs, self._zones)
        self._writer.write_table(table)

    def describe(self, result: Comparison) -> None:
        """Store in the file which question it answers."""
        facts = {
            "scenario": result.scenario,
            "scenario_hash": result.scenario_hash,
            "version": result.version,
            "seed": result.seed,
            "histories": result.histories,
            "probes": result.probes,
            "horizon_years": result.horizon_years,
            "currency": result.currency,
        }
        self._writer.add_key_value_metadata({key: str(value) for key, value in facts.items()})
