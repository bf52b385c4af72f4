"""A table as a file of rows, written piece by piece."""

from __future__ import annotations

import re
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from shutoffsim.errors import OutputError
from shutoffsim.report.files import OutputFile

if TYPE_CHECKING:
    import pyarrow as pa

_FACTS = (
    *("scenario", "scenario_hash", "version", "seed"),
    *("histories", "probes", "horizon_years", "currency"),
)


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
                "not a known table format",
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

    def describe_run(self, result: Any) -> None:
        """Store in a Parquet file which run gave the table; CSV has no place for it.

        Parameters
        ----------
        result : Comparison or Assessment
        """
        if self._kind == ".parquet" and self._writer is not None:
            facts = {name: str(getattr(result, name)) for name in _FACTS}
            self._writer.add_key_value_metadata(facts)

    def add(self, table: pa.Table) -> None:
        """Append rows; in CSV, texts that a spreadsheet would run are marked as texts."""
        if self._kind == ".csv":
            table = _harmless(table)
        if self._writer is None:
            self._writer = self._stack.enter_context(self._open(table.schema))
        self._writer.write_table(table)

    def _open(self, schema: pa.Schema) -> Any:
        if self._kind == ".csv":
            import pyarrow.csv

            return pyarrow.csv.CSVWriter(self._file, schema)
        import pyarrow.parquet

        return pyarrow.parquet.ParquetWriter(self._file, schema, compression="zstd")


# What makes a spreadsheet take a text for a formula, see "CSV Injection" by OWASP
# (https://owasp.org/www-community/attacks/CSV_Injection).
_FORMULA = r"^[=+\-@\t\r\n]"
_NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"


def harmless(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula: then an apostrophe stands before it.

    Numbers stay as they are.

    Examples
    --------
    >>> harmless("=1+1"), harmless("-5"), harmless("plus battery")
    ("'=1+1", '-5', 'plus battery')
    """
    formula = re.search(_FORMULA, text) and not re.search(_NUMBER, text)
    return f"'{text}" if formula else text


def _harmless(table: pa.Table) -> pa.Table:
    import pyarrow as pa
    import pyarrow.compute as pc

    for place, field in enumerate(table.schema):
        texts = table.column(place)
        if pa.types.is_dictionary(field.type) and pa.types.is_string(field.type.value_type):
            chunks = [
                pa.DictionaryArray.from_arrays(
                    chunk.indices,
                    pa.array([harmless(t) for t in chunk.dictionary.to_pylist()], pa.string()),
                )
                for chunk in texts.chunks
            ]
            table = table.set_column(place, field, pa.chunked_array(chunks, field.type))
        elif pa.types.is_string(field.type) or pa.types.is_large_string(field.type):
            formula = pc.and_(
                pc.match_substring_regex(texts, _FORMULA),
                pc.invert(pc.match_substring_regex(texts, _NUMBER)),
            )
            told = pc.binary_join_element_wise("'", texts, "")
            table = table.set_column(place, field, pc.if_else(formula, told, texts))
    return table
