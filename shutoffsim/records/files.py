"""A file as blocks of whole lines, unpacked when it is gzip."""

from __future__ import annotations

import gzip
import re
import zlib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import IO

from shutoffsim.errors import RecordError

LONGEST_LINE = 1 << 17  # bytes; no field longer than that is read either

Progress = Callable[[int, int], None]


def read_blocks(
    path: Path, size: int, described: str, progress: Progress | None = None
) -> Iterator[bytes]:
    """Yield a file as pieces of whole lines that end in ``\\n``.

    Parameters
    ----------
    path : Path
    size : int
        Bytes read at a time.
    described : str
        What the file should be, for messages.
    progress : callable, optional
        Called with the bytes read so far and in all.

    Raises
    ------
    RecordError
        When there is no such file, or it is binary, damaged or without line ends.
    """
    where = str(path)
    try:
        if path.is_dir():
            raise RecordError.of(
                "this is a folder", where, expected="a file", hint="name a file in it"
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
        hint = "check the spelling and the folder"
        raise RecordError.of(
            "there is no such file", where, expected=described, hint=hint
        ) from None
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        found = str(error) or "it ends too early"
        raise RecordError.of(
            "the gzip file is damaged", where, found=found, hint="copy or pack it again"
        ) from None
    except (OSError, ValueError) as error:
        raise RecordError.of("the file cannot be read", where, found=str(error)) from None


def _whole_lines(stream: IO[bytes] | gzip.GzipFile, size: int, where: str) -> Iterator[bytes]:
    rest, chunk = b"", stream.read(size)
    while chunk:
        if b"\0" in chunk:
            hint = "export it as CSV (UTF-8)"
            raise RecordError.of("this is a binary file, not a text in UTF-8", where, hint=hint)
        rest += chunk
        chunk = stream.read(size)
        ends = max(rest.rfind(b"\n"), rest.rfind(b"\r", 0, len(rest) - 1)) + 1
        _check_length(rest[ends:], where)
        if not chunk:
            ends = len(rest)
        if ends:
            yield rest[:ends].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            rest = rest[ends:]


def join_lines(blocks: Iterable[bytes], delimiter: str, where: str) -> Iterator[bytes]:
    """Put cells that people wrote in several lines on one line each.

    Raises
    ------
    RecordError
        When a quotation mark is not closed.
    """
    # A cell in quotation marks, to the end of the text when they are not closed.
    quoted = re.compile(rb'(?:(?<=[%s\n])|\A)"(?:[^"]|"")*("|\Z)' % delimiter.encode())
    rest = b""
    for block in blocks:
        text, rest = rest + block, b""
        if b'"' in text:
            for cell in quoted.finditer(text):
                if not cell[1]:  # the next block may close it
                    begin = text.rfind(b"\n", 0, cell.start()) + 1
                    text, rest = text[:begin], text[begin:]
            _check_length(rest, where)
            text = quoted.sub(lambda cell: cell[0].replace(b"\n", b" "), text)
        if text:
            yield text
    if rest:
        raise RecordError.of(
            "a quotation mark is not closed",
            where,
            found=rest[:80].decode("utf-8", "replace").strip(),
            expected="one row a line, quotes closed",
        )


def _check_length(line: bytes, where: str) -> None:
    if len(line) > LONGEST_LINE:
        raise RecordError.of(
            f"a line is longer than {LONGEST_LINE} bytes",
            where,
            expected="one row a line, quotes closed",
            hint="export the table as CSV",
        )
