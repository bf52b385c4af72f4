"""A table as a file of rows, written piece by piece."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from shutoffsim.errors import OutputError
from shutoffsim.report.files import OutputFile

if TYPE_CHECKING:
    import pyarrow as pa


class TableFile:
    """A CSV or Parquet file that takes a table piece by piece, in constant memory.

    A context manager around :class:`shutoffsim.report.files.OutputFile`, with its errors: the file
    is there in full, or not at all.

    Parameters
    ----------
    path : str or pathlib.Path
        Its end, ``.csv`` or ``.parquet``, chooses the form.
    schema : pyarrow.Schema, optional
        Columns; by default those of the first rows, and a file without rows stays empty.

    Raises
    ------
    OutputError
        When the name has another end.
    """

    def __init__(self, path: str | Path, schema: pa.Schema | None = None) -> None:
        self._path = Path(path)
        self._kind = self._path.suffix.lower()
        if self._kind not in (".csv", ".parquet"):
            raise OutputError(
                "no known form of table",
                where=str(path),
                expected="a name that ends in .csv or .parquet",
            )
        self._schema = schema
        self._writer: Any = None
        self._stack = ExitStack()

    def __enter__(self) -> Self:
        with ExitStack() as stack:
            self._file = stack.enter_context(OutputFile(self._path))
            if self._schema is not None:
                self._writer = stack.enter_context(self._open(self._schema))
            self._stack = stack.pop_all()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stack.__exit__(kind, error, trace)

    def describe(self, facts: Mapping[str, Any]) -> None:
        """Store facts about the table in a Parquet file; CSV has no place for them."""
        if self._kind == ".parquet" and self._writer is not None:
            self._writer.add_key_value_metadata({key: str(value) for key, value in facts.items()})

    def add(self, table: pa.Table) -> None:
        """Append rows."""
        if self._writer is None:
            self._writer = self._stack.enter_context(self._open(table.schema))
        self._writer.write_table(table)

    def _open(self, schema: pa.Schema) -> Any:
        if self._kind == ".csv":
            import pyarrow.csv

            return pyarrow.csv.CSVWriter(self._file, schema)
        import pyarrow.parquet

        return pyarrow.parquet.ParquetWriter(self._file, schema, compression="zstd")
