"""From the text of whole lines to rows of cells."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as arrow_csv

from shutoffsim.records.header import Header

_COMMENT = re.compile(rb"(?m)^[ \t]*#[^\n]*")


@dataclass(frozen=True)
class Rows:
    """Some rows of a table.

    Parameters
    ----------
    lines : ndarray of int, shape (n,)
        Their line numbers in the file (rows of a table in memory or a Parquet file), from 1.
    cells : dict of str to pyarrow array, length n
        The columns in use by role; texts where the file is one.
    broken : dict of int to str
        Rows that do not have as many cells as the header: line number and text.
    others : tuple of pyarrow arrays, length n
        The columns not in use.
    """

    lines: np.ndarray
    cells: dict[str, Any]
    broken: dict[int, str]
    others: tuple[Any, ...] = ()


def from_columns(
    columns: Sequence[Any], lines: np.ndarray, header: Header, broken: dict[int, str] | None = None
) -> Rows:
    """Return rows, given all columns of a table in their order."""
    used = {column.index: role for role, column in header.columns.items()}
    cells = {role: columns[index] for index, role in used.items()}
    others = tuple(column for index, column in enumerate(columns) if index not in used)
    return Rows(lines, cells, broken or {}, others)


def split_rows(block: bytes, first_line: int, header: Header) -> Rows:
    """Split whole lines into columns.

    Parameters
    ----------
    block : bytes
        In UTF-8.
    first_line : int
        Line number of its first line.
    header : Header
    """
    if header.comments and b"#" in block:
        block = _COMMENT.sub(b"", block)
    count = block.count(b"\n") + (not block.endswith(b"\n") and len(block) > 0)
    broken: dict[int, str] = {}

    def note(row: Any) -> str:
        broken[row.number - 1] = row.text
        return "skip"

    table = _parse(block, header, note)
    last = block[block.rfind(b"\n", 0, -1) + 1 :]
    if table is None or table.num_rows + len(broken) != count or last.count(b'"') % 2:
        # A stray quotation mark swallows line ends: look at each line by itself.
        broken.clear()
        table = _parse(_mend(block, header, broken), header, None)
    whole = np.ones(count, bool)
    whole[list(broken)] = False
    lines = np.arange(first_line, first_line + count, dtype=np.int64)[whole]
    columns = [pc.utf8_trim_whitespace(column.combine_chunks()) for column in table.columns]
    told = {first_line + place: text for place, text in broken.items()}
    return from_columns(columns, lines, header, told)


def split_line(line: str, delimiter: str) -> list[str]:
    """Split one line; nothing when a quotation mark was left open, which a second line shows."""
    try:
        fields = list(csv.reader([f"{line}\n", "\n"], delimiter=delimiter))
    except csv.Error:
        return []
    return fields[0] if len(fields) == 2 else []


def _parse(block: bytes, header: Header, invalid: Callable[[Any], str] | None) -> Any:
    names = [str(index) for index in range(header.width)]
    if not block:
        return pa.table(dict.fromkeys(names, pa.array([], pa.string())))
    # One block: the handler is given row numbers only without threads.
    read = arrow_csv.ReadOptions(column_names=names, use_threads=False, block_size=len(block) + 1)
    parse = arrow_csv.ParseOptions(
        delimiter=header.delimiter, ignore_empty_lines=False, invalid_row_handler=invalid
    )
    texts = arrow_csv.ConvertOptions(column_types=dict.fromkeys(names, pa.string()), null_values=[])
    try:
        return arrow_csv.read_csv(pa.BufferReader(block), read, parse, texts)
    except pa.ArrowInvalid:
        return None


def _mend(block: bytes, header: Header, broken: dict[int, str]) -> bytes:
    """Rewrite the lines that can be read one by one; note the others by their place."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=header.delimiter, lineterminator="\n")
    for place, line in enumerate(block.decode().removesuffix("\n").split("\n")):
        # A blank line is a row of empty cells, as the parser sees it.
        row = split_line(line, header.delimiter) if line else [""] * header.width
        if len(row) == header.width:
            writer.writerow(row)
        else:
            broken[place] = line
    return out.getvalue().encode()
