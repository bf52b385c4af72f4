"""A file to rows of texts, in blocks of bounded size, each row with its line number."""

from __future__ import annotations

import csv
import gzip
import io
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as arrow_csv

from shutoffsim.study.meter.columns import EXPECTED, Layout, Role, read_header
from shutoffsim.study.meter.errors import MeterError

BLOCK = 1 << 21  # bytes of text held at a time
LONGEST_LINE = 1 << 16
HEAD_BYTES = 1 << 20
HEAD_ROWS = 20_000

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Rows:
    """Some rows of a record.

    Parameters
    ----------
    lines : ndarray of int, shape (n,)
        Their line numbers in the file, from 1.
    texts : dict of str to pyarrow string array, length n
        The columns in use by role.
    broken : ndarray of int
        Line numbers of rows that do not have as many fields as the header.
    others : tuple of pyarrow string arrays, length n
        For runs, the columns not in use: two uses are the same only if all columns agree.
    """

    lines: np.ndarray
    texts: dict[Role, Any]
    broken: np.ndarray
    others: tuple[Any, ...] = ()


@dataclass(frozen=True)
class Head:
    """The beginning of a record: its layout, and its first rows to learn from."""

    layout: Layout
    header_line: int
    rows: Rows


def read_head(path: Path) -> Head:
    """Read the header and up to 20,000 rows.

    Raises
    ------
    MeterError
        When the file cannot be read, is no text, is empty, or has no known columns.
    """
    where = str(path)
    start = b""
    for block in read_blocks(path, HEAD_BYTES):
        start += block
        if len(start) >= HEAD_BYTES:
            break
    lines = start.decode("utf-8-sig", "replace").removesuffix("\n").split("\n")
    for number, line in enumerate(lines, start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            layout = read_header(line, where)
            rest = "\n".join(lines[number : number + HEAD_ROWS]).encode()
            return Head(layout, number, split_rows(rest, number + 1, layout))
    raise MeterError(
        "the file is empty", where=where, found="no header and no rows", expected=EXPECTED
    )


def read_rows(
    path: Path, head: Head, block_bytes: int = BLOCK, progress: Progress | None = None
) -> Iterator[Rows]:
    """Read all rows behind the header, block by block.

    Parameters
    ----------
    path : Path
    head : Head
        From :func:`read_head`.
    block_bytes : int
        Text held at a time; the results do not depend on it.
    progress : callable, optional
        Called with the bytes read so far and in all.
    """
    line = 1
    for block in read_blocks(path, block_bytes, progress):
        first, line = line, line + block.count(b"\n") + (not block.endswith(b"\n"))
        skip = head.header_line + 1 - first
        if skip > 0:  # comments and header
            parts = block.split(b"\n", skip)
            block = parts[skip] if len(parts) > skip else b""
            first += skip
        if block:
            yield split_rows(block, first, head.layout)


def read_blocks(path: Path, size: int, progress: Progress | None = None) -> Iterator[bytes]:
    """Yield a file as pieces of whole lines ending in ``\\n``, unpacked when it is gzip."""
    where = str(path)
    try:
        if path.is_dir():
            raise MeterError(
                "this is a folder", where=where, expected="a file", hint="name a file in it"
            )
        total = path.stat().st_size
        with path.open("rb") as raw:
            packed = raw.read(2) == b"\x1f\x8b"
            raw.seek(0)
            stream = gzip.GzipFile(fileobj=raw) if packed else raw
            for block in _whole_lines(stream, size, where):
                if progress is not None:
                    progress(raw.tell(), total)
                yield block
    except FileNotFoundError:
        raise MeterError(
            "there is no such file",
            where=where,
            expected="a record of a meter, such as meter.csv or meter.csv.gz",
            hint="check the spelling and the folder",
        ) from None
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise MeterError(
            "the gzip file is damaged",
            where=where,
            found=str(error) or "it ends too early",
            hint="copy or pack it again",
        ) from None
    except (OSError, ValueError) as error:
        raise MeterError("the file cannot be read", where=where, found=str(error)) from None


def _whole_lines(stream: IO[bytes] | gzip.GzipFile, size: int, where: str) -> Iterator[bytes]:
    rest = b""
    while chunk := stream.read(size):
        if b"\0" in chunk:
            raise MeterError(
                "this is a binary file",
                where=where,
                expected="text in UTF-8, plain or packed with gzip",
                hint="export the record as CSV",
            )
        rest += chunk
        ends = max(rest.rfind(b"\n"), rest.rfind(b"\r", 0, len(rest) - 1)) + 1
        if len(rest) - ends > LONGEST_LINE:
            raise MeterError(
                f"a line is longer than {LONGEST_LINE} bytes",
                where=where,
                expected="one row a line",
                hint="export the record as CSV",
            )
        if ends:
            yield rest[:ends].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            rest = rest[ends:]
    if rest:
        yield rest.replace(b"\r\n", b"\n").replace(b"\r", b"\n")


def split_rows(block: bytes, first_line: int, layout: Layout) -> Rows:
    """Split whole lines into the columns in use.

    Parameters
    ----------
    block : bytes
    first_line : int
        Line number of its first line.
    layout : Layout
    """
    if not block.isascii():
        block = block.decode("utf-8", "replace").encode()
    count = block.count(b"\n") + (not block.endswith(b"\n") and len(block) > 0)
    broken: list[int] = []

    def note(row: Any) -> str:
        broken.append(row.number - 1)
        return "skip"

    table = _parse(block, layout, note)
    last = block[block.rfind(b"\n", 0, -1) + 1 :]
    if table is None or table.num_rows + len(broken) != count or last.count(b'"') % 2:
        # A stray quotation mark swallows line ends: look at each line by itself.
        broken.clear()
        block = _mend(block, layout, broken)
        table = _parse(block, layout, None)
    numbers = np.arange(first_line, first_line + count, dtype=np.int64)
    whole = np.ones(count, bool)
    whole[broken] = False
    texts = {
        role: pc.utf8_trim_whitespace(table.column(str(column.index)).combine_chunks())
        for role, column in layout.columns.items()
    }
    used = _used(layout)
    others = tuple(
        table.column(name).combine_chunks() for name in table.column_names if name not in used
    )
    return Rows(numbers[whole], texts, numbers[~whole], others)


def _used(layout: Layout) -> list[str]:
    return [str(column.index) for column in layout.columns.values()]


def _parse(block: bytes, layout: Layout, invalid: Callable[[Any], str] | None) -> Any:
    names = [str(index) for index in range(layout.width)]
    used = names if layout.kind == "runs" else _used(layout)
    if not block:
        return pa.table({name: pa.array([], pa.string()) for name in used})
    try:
        return arrow_csv.read_csv(
            pa.BufferReader(block),
            # One block: the handler is told row numbers only without threads.
            arrow_csv.ReadOptions(column_names=names, use_threads=False, block_size=len(block) + 1),
            arrow_csv.ParseOptions(
                delimiter=layout.delimiter, ignore_empty_lines=False, invalid_row_handler=invalid
            ),
            arrow_csv.ConvertOptions(
                column_types=dict.fromkeys(used, pa.string()),
                include_columns=used,
                null_values=[],
                strings_can_be_null=False,
            ),
        )
    except pa.ArrowInvalid:
        return None


def _mend(block: bytes, layout: Layout, broken: list[int]) -> bytes:
    """Rewrite the lines that can be read one by one; note the places of the others."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=layout.delimiter, lineterminator="\n")
    lines = block.decode().split("\n")
    if lines[-1] == "":
        lines.pop()
    for place, line in enumerate(lines):
        try:
            # A second line shows whether a quotation mark was left open.
            fields = list(csv.reader([line + "\n", "\n"], delimiter=layout.delimiter))
        except csv.Error:
            fields = []
        row = fields[0] if len(fields) == 2 else []
        if not row and len(fields) == 2:
            row = [""] * layout.width  # a blank line, as the parser sees it
        if len(row) != layout.width:
            broken.append(place)
        else:
            writer.writerow(row)
    return out.getvalue().encode()
