"""Result files: checked before the work starts, and written in full or not at all."""

from __future__ import annotations

import contextlib
import json
import math
import os
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from shutoffsim.engine.unfinished import claim_file, clear, put_in_place
from shutoffsim.errors import OutputError
from shutoffsim.estimate.plain import plain

_KINDS = {
    ".json": "JSON",
    ".csv": "a table of comma-separated values",
    ".toml": "a scenario or a part of one (TOML)",
    ".html": "a page for a browser (HTML)",
    ".pdf": "a PDF file",
    ".svg": "a figure",
}
_DIGITS = 20  # of a whole number: 2**64 and a sign


class OutputFile:
    """A file that replaces its target only when everything has been written.

    Used as a context manager: entering checks the place and opens a hidden file beside the target;
    leaving without an error puts it in the target's place, leaving with one removes it.

    Parameters
    ----------
    path : str or pathlib.Path
        The target; a link is followed.
    ends : tuple of str
        What its name may end in; anything by default.

    Raises
    ------
    OutputError
        On entry when nothing can be written there or the name has another end, later when writing
        fails.
    """

    closed = False

    def __init__(self, path: str | Path, ends: tuple[str, ...] = ()) -> None:
        self.path = Path(path)
        self._ends = ends
        self._part: Path | None = None

    def __enter__(self) -> Self:
        where = str(self.path)
        try:
            if self.path.is_dir():
                raise OutputError(
                    "this is a folder", where=where, expected="the name of a file to write"
                )
            target = self.path.resolve()
            if target.exists() and not target.is_file():
                raise OutputError(
                    "this is not an ordinary file", where=where, expected="a file to write"
                )
            if not target.parent.is_dir():
                raise OutputError(
                    "there is no such folder",
                    where=where,
                    found=str(target.parent),
                    expected="a folder that exists",
                    hint="make it first, or check the spelling",
                )
            check_end(self.path, self._ends)
            if target.exists() and not os.access(target, os.W_OK):
                raise OutputError("the file is write-protected", where=where)
            clear(target.parent)
            part, self._file = claim_file(target)
        except OSError as error:
            raise refusal(where, error) from None
        self._target = target
        self._part = part
        return self

    def write(self, data: bytes) -> int:
        """Write bytes; returns how many."""
        try:
            return self._file.write(data)
        except OSError as error:
            raise refusal(str(self.path), error) from None

    def flush(self) -> None:
        """Hand what is buffered to the system."""
        try:
            self._file.flush()
        except OSError as error:
            raise refusal(str(self.path), error) from None

    def close(self) -> None:
        """Do nothing: the context manager closes the file."""

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        part, self._part = self._part, None
        if part is None:
            return
        try:
            if kind is None:
                put_in_place(part, self._file, self._target)
        except OSError as failure:
            raise refusal(str(self.path), failure) from None
        finally:
            with contextlib.suppress(OSError):  # buffered bytes may fail once more
                self._file.close()
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)


def check_end(path: str | Path, ends: tuple[str, ...]) -> None:
    """Refuse a name that promises something else than what is written into the file.

    Raises
    ------
    OutputError
        When the name ends in none of ``ends``.
    """
    if ends and Path(path).suffix.lower() not in ends:
        kind = _KINDS[ends[0]]
        raise OutputError(
            f"what is written here is {kind}",
            where=str(path),
            expected=f"a name that ends in {' or '.join(ends)}",
        )


def refusal(where: str, error: OSError) -> OutputError:
    """Return the error for a place where the system would not let us write."""
    reason = error.strerror or str(error)
    return OutputError(
        "cannot write here",
        where=where,
        found=reason[:1].lower() + reason[1:],
        expected="a place that you may write to, with enough room",
    )


def check_apart(inputs: Mapping[str, Path | None], outputs: Mapping[str, Path | None]) -> None:
    """Refuse outputs that would overwrite an input or each other, or lie in each other.

    Parameters
    ----------
    inputs, outputs : dict of str to Path or None
        Files by what a person calls them.

    Raises
    ------
    OutputError
        When two of them are the same file, or one is a folder that is to hold the other.
    """
    taken = {path.resolve(): name for name, path in inputs.items() if path is not None}
    for name, path in outputs.items():
        if path is None:
            continue
        other = taken.setdefault(path.resolve(), name)
        if other != name:
            raise OutputError(
                f"{name} would overwrite {other}", where=str(path), hint="choose another name"
            )
    written = {path.resolve(): name for name, path in outputs.items() if path is not None}
    for path, name in written.items():
        for folder in path.parents:
            if folder in written:  # a folder of results holds nothing else
                raise OutputError(
                    f"{name} would lie in the folder of {written[folder]}",
                    where=str(path),
                    hint="choose another place",
                )


def to_json(result: Any) -> str:
    """Return a result as JSON text; the same result always gives the same text."""
    return json.dumps(plain(result), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def from_json(text: str) -> Any:
    """Return the plain data of a JSON text as :func:`to_json` writes it, with finite numbers.

    Raises
    ------
    ValueError, RecursionError
        When it is something else.
    """

    def number(digits: str) -> float:
        value = float(digits)
        if not math.isfinite(value):
            raise ValueError(f"{digits[:20]} is not a finite number")
        return value

    return json.loads(text, parse_float=number, parse_int=_whole, parse_constant=number)


def _whole(digits: str) -> int:
    if len(digits) > _DIGITS:
        raise ValueError(f"a whole number of {len(digits)} digits")
    return int(digits)
