"""The one reader of tables: from a file to its header and, when asked, its rows."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import repeat
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from shutoffsim.errors import Problem, RecordError, printable
from shutoffsim.records.cells import is_missing
from shutoffsim.records.files import Progress, join_lines, read_blocks
from shutoffsim.records.header import Header, Kind, read_header, split_header
from shutoffsim.records.rows import Rows, from_columns, split_line, split_rows

if TYPE_CHECKING:
    import pandas as pd

BLOCK = 1 << 21  # bytes of text held at a time
SAMPLE = 20_000  # rows to learn from
_BATCH = 4096  # rows of a Parquet file held at a time


class Row(NamedTuple):
    """One row: its line, its cells by role, and why it cannot be read, if so."""

    line: int
    cells: dict[str, Any]
    trouble: Problem | None = None


@dataclass(frozen=True)
class Records:
    """A table whose header is read; its rows come when asked for, as often as asked for.

    Parameters
    ----------
    kind : Kind
    where : str
        The file, for messages.
    header : Header
    blocks : callable
        Yields all :class:`Rows`, block by block, given the bytes of text to hold at a time (the
        rows do not depend on it) and a progress or None, which is called with the bytes read so
        far and in all.
    """

    kind: Kind
    where: str
    header: Header
    blocks: Callable[[int, Progress | None], Iterator[Rows]]

    def sample(self) -> Rows:
        """Return the first rows, up to 20,000."""
        nothing = split_rows(b"", 1, self.header)
        rows = next(self.blocks(BLOCK, None), nothing)
        last = min([*rows.lines[:1], *rows.broken], default=0) + SAMPLE - 1
        keep = int(np.searchsorted(rows.lines, last, side="right"))
        cells = {role: column[:keep] for role, column in rows.cells.items()}
        broken = {line: text for line, text in rows.broken.items() if line <= last}
        return Rows(rows.lines[:keep], cells, broken)

    def rows(self) -> Iterator[Row]:
        """Yield row by row those that are not empty.

        Raises
        ------
        RecordError
            When there are none, or more than the kind of table may have.
        """
        count, most, name = 0, self.kind.most_rows, self.kind.row
        every = (row for rows in self.blocks(BLOCK, None) for row in self._each(rows))
        for count, row in enumerate(every, start=1):
            if most is not None and count > most:
                expected = f"at most {most:,}"
                raise RecordError.of(f"too many {name}s", self.where, expected=expected)
            yield row
        if count == 0:
            expected = f"one row for each {name}, below the header"
            raise RecordError.of(f"there is a header but no {name}", self.where, expected=expected)

    def _each(self, rows: Rows) -> list[Row]:
        lists = [column.to_pylist() for column in (*rows.cells.values(), *rows.others)]
        table = zip(*lists, strict=True) if lists else repeat((), len(rows.lines))
        found = [
            Row(line, dict(zip(rows.cells, cells, strict=False)))
            for line, cells in zip(rows.lines.tolist(), table, strict=True)
            if not cells or any(cell != "" for cell in cells)
        ]
        found += [self._broken(*told) for told in rows.broken.items() if told[1].strip()]
        return sorted(found, key=lambda row: row.line) if rows.broken else found

    def _broken(self, line: int, text: str) -> Row:
        cells = split_line(text, self.header.delimiter)
        problem = Problem(
            "this row has another number of cells than the header",
            found=f"{len(cells)} cells",
            expected=f"{self.header.width}, as there are columns",
            hint="put a cell that holds the separator in quotes",
        )
        if not cells:
            message, expected = "this row cannot be read", "one row a line, quotes closed"
            problem = Problem(message, found=printable(text), expected=expected)
        columns = self.header.columns.values()
        known = {c.role: cells[c.index].strip() for c in columns if c.index < len(cells)}
        return Row(line, known, problem)


def open_records(source: str | Path | pd.DataFrame, kind: Kind) -> Records:
    """Open a table and read its header.

    Parameters
    ----------
    source : str, Path or pandas.DataFrame
        A text with a header and one row a line (commas, semicolons or tabs; plain or packed with
        gzip), a table in memory, or for kinds that allow it a Parquet file.
    kind : Kind

    Raises
    ------
    RecordError
        When the file cannot be read, is empty, or its columns are not those of the kind.
    """
    if not isinstance(source, (str, Path)):
        names = [str(name) for name in source.columns]
        table = pa.Table.from_arrays([_texts(column) for _, column in source.items()], names)
        return _open_table("table", kind, names, table.to_batches)
    path = Path(source)
    if kind.suffixes and not path.name.lower().endswith(kind.suffixes):
        raise RecordError.of(
            f"not {kind.described}",
            str(path),
            expected=f"a file whose name ends in {' or '.join(kind.suffixes)}",
            hint="save the table in one of these forms",
        )
    if path.suffix.lower() != ".parquet" or not kind.suffixes:
        return _open_text(path, kind)
    names = _open_parquet(path, kind).schema_arrow.names
    return _open_table(
        str(path), kind, names, lambda: _open_parquet(path, kind).iter_batches(batch_size=_BATCH)
    )


def _texts(column: Any) -> Any:
    """Return a column of a table in memory as texts; days and times as ISO 8601."""
    cells = ["" if is_missing(cell) else cell for cell in column]
    texts = [c.isoformat() if hasattr(c, "isoformat") else str(c).strip() for c in cells]
    return pa.array(texts, pa.string())


def _open_parquet(path: Path, kind: Kind) -> Any:
    try:
        if not path.is_file():
            next(read_blocks(path, BLOCK, kind.described), None)
        return pq.ParquetFile(path)
    except (OSError, pa.ArrowException) as error:
        found = str(error).split("\n")[0][:160]
        raise RecordError.of("this is not a Parquet file", str(path), found=found) from None


def _open_table(
    where: str, kind: Kind, names: Sequence[str], batches: Callable[[], Iterable[Any]]
) -> Records:
    header = read_header(names, kind, where)

    def blocks(size: int, progress: Progress | None) -> Iterator[Rows]:
        del size, progress
        first = 1
        for batch in batches():
            lines = np.arange(first, first + batch.num_rows, dtype=np.int64)
            yield from_columns(batch.columns, lines, header)
            first += batch.num_rows

    return Records(kind, where, header, blocks)


def _open_text(path: Path, kind: Kind) -> Records:
    where = str(path)

    def whole_lines(size: int, progress: Progress | None) -> Iterator[bytes]:
        taken = 0
        for block in read_blocks(path, size, kind.described, progress):
            taken += len(block)
            if kind.most_bytes is not None and taken > kind.most_bytes:
                message, most = f"the file is too large for {kind.described}", kind.most_bytes
                raise RecordError.of(message, where, expected=f"at most {most:,} bytes")
            yield _encoded(block, kind, where)

    line, text = _find_header(whole_lines(BLOCK, None), kind, where)
    try:
        names, delimiter = split_header(text, kind)
    except csv.Error as error:
        found = str(error)[:80]
        raise RecordError.of("the header cannot be read", where, line=line, found=found) from None
    header = read_header(names, kind, where, line, delimiter)

    def blocks(size: int, progress: Progress | None) -> Iterator[Rows]:
        body = _behind(whole_lines(size, progress), line)
        first = line + 1
        for block in join_lines(body, delimiter, where) if kind.joined else body:
            yield split_rows(block, first, header)
            first += block.count(b"\n")

    return Records(kind, where, header, blocks)


def _find_header(blocks: Iterable[bytes], kind: Kind, where: str) -> tuple[int, str]:
    """Return the number and the text of the first line that is neither blank nor a comment."""
    before = 0
    for block in blocks:
        lines = block.decode("utf-8" if before else "utf-8-sig").split("\n")
        for number, text in enumerate(lines, before + 1):
            if text.strip() and not text.lstrip().startswith("#"):
                return number, text
        before += len(lines) - 1
    raise RecordError.of(
        "the file is empty", where, found="no header and no rows", expected=kind.expected
    )


def _behind(blocks: Iterable[bytes], header_line: int) -> Iterator[bytes]:
    """Yield what stands below the header."""
    skip = header_line
    for block in blocks:
        parts = block.split(b"\n", skip)
        skip -= len(parts) - 1
        if skip == 0 and parts[-1]:
            yield parts[-1]


def _encoded(block: bytes, kind: Kind, where: str) -> bytes:
    """Return a text in UTF-8, whatever it was; what a person wrote must be UTF-8."""
    if block.isascii():
        return block
    try:
        return block.decode("utf-8", "strict" if kind.by_hand else "replace").encode()
    except UnicodeDecodeError as error:
        hint, found = "save the table as CSV (UTF-8)", f"byte {block[error.start]:#04x}"
        raise RecordError.of("this is not a text in UTF-8", where, found=found, hint=hint) from None
