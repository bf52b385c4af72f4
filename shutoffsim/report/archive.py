"""An assessment as a folder of files, written in full or not at all, and read again.

========================  ==========================================================================
``assessment.json``       everything that pages show, see docs/results.md
``estimates.csv``         every estimate in one row: design, quantity, unit, value, std_error, low,
                          high
``estimates.parquet``     the same
``incidents.parquet``     the incidents of the first histories, a bounded number
``incidents.csv``         of these, those with the largest losses of each design
========================  ==========================================================================
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from shutoffsim.engine.unfinished import claim_folder, clear, exchange
from shutoffsim.errors import ModelError, OutputError
from shutoffsim.report.estimates import estimate_table
from shutoffsim.report.files import from_json, refusal, to_json
from shutoffsim.report.table_file import TableFile
from shutoffsim.study.assessment.result import Assessment
from shutoffsim.study.incidents import SCHEMA

if TYPE_CHECKING:
    import pyarrow as pa

RESULT: Final = "assessment.json"
INCIDENTS: Final = "incidents.parquet"
FILES: Final = (RESULT, "estimates.csv", "estimates.parquet", INCIDENTS, "incidents.csv")
LISTED: Final = 100  # incidents of each design in incidents.csv


def check_place(folder: str | Path) -> None:
    """Refuse a place in which no result folder can be written, before the work starts.

    Raises
    ------
    OutputError
        When the place is not writable, its parent is missing, or something else is there.
    """
    path = Path(folder)
    where = str(path)
    try:
        target = path.resolve()
        if target.is_dir():
            _check_replaceable(target, where)
        elif target.exists():
            raise OutputError(
                "this is a file", where=where, expected="the name of a folder to write"
            )
        if not target.parent.is_dir():
            raise OutputError(
                "there is no such folder",
                where=where,
                found=str(target.parent),
                expected="a folder that exists, to put the result folder into",
                hint="make it first, or check the spelling",
            )
        clear(target.parent)
        _recover(target)
        with _part_of(target):
            pass
    except OSError as error:
        raise refusal(where, error) from None


def _check_replaceable(target: Path, where: str) -> None:
    """Refuse a folder that holds anything but an earlier result."""
    names = sorted(entry.name for entry in target.iterdir())
    foreign = [name for name in names if name not in FILES]
    if foreign or (names and RESULT not in names):
        raise OutputError(
            "this folder holds something other than a result of this program",
            where=where,
            found=(foreign or names)[0],
            expected="a new name, an empty folder, or an earlier result to replace",
        )
    if not os.access(target, os.W_OK):
        raise OutputError("the folder is write-protected", where=where)


@contextmanager
def _part_of(target: Path) -> Iterator[Path]:
    """Yield a new folder beside the target; what has not been moved away by then is removed."""
    part, lock = claim_folder(target)
    try:
        yield part
    finally:
        shutil.rmtree(part, ignore_errors=True)
        if lock >= 0:
            os.close(lock)


def _aside(target: Path) -> Path:
    return target.with_name(f".{target.name[:50]}.shutoffsim-old")


def _recover(target: Path) -> None:
    """Put an old result back that a killed run had moved aside, or finish removing it."""
    old = _aside(target)
    if old.is_dir():
        if target.exists():
            shutil.rmtree(old, ignore_errors=True)
        else:
            old.rename(target)


def save_assessment(assessment: Assessment, folder: str | Path) -> None:
    """Write an assessment into a folder, which appears in full or not at all.

    Parameters
    ----------
    assessment : Assessment
    folder : str or pathlib.Path
        A new or empty folder, or an earlier result, which is replaced.

    Raises
    ------
    OutputError
        When it cannot be written there.
    """
    check_place(folder)
    where = str(folder)
    target = Path(folder).resolve()
    try:
        with _part_of(target) as part:
            _write_files(assessment, part)
            _put_in_place(part, target)
    except OutputError as error:  # of one of the files
        raise OutputError(
            error.message, where=where, found=error.found, expected=error.expected
        ) from None
    except OSError as error:
        raise refusal(where, error) from None


def _write_files(assessment: Assessment, part: Path) -> None:
    (part / RESULT).write_text(to_json(assessment), encoding="utf-8")
    table = estimate_table(assessment)
    incidents = assessment.incidents
    if incidents is None:
        incidents = SCHEMA.empty_table()
    for name, rows in (
        ("estimates.csv", table),
        ("estimates.parquet", table),
        (INCIDENTS, incidents),
        ("incidents.csv", _largest(incidents)),
    ):
        with TableFile(part / name, rows.schema) as file:
            file.add(rows)
            file.describe_run(assessment)


def _put_in_place(part: Path, target: Path) -> None:
    """Give the new folder the target's name; an old result is then in ``part``, or is removed."""
    if not target.exists():
        part.rename(target)
        return
    if exchange(part, target):
        return
    old = _aside(target)
    target.rename(old)
    try:
        part.rename(target)
    except OSError:
        old.rename(target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _largest(incidents: pa.Table) -> pa.Table:
    """Return the incidents with the largest losses of each design, in the order of the table."""
    import pyarrow as pa
    import pyarrow.compute as pc

    kept = []
    for design in pc.unique(incidents["design"]).to_pylist():
        at = pc.indices_nonzero(pc.equal(incidents["design"].cast(pa.string()), design))
        losses = incidents["loss"].take(at)
        order = pc.select_k_unstable(
            pa.table({"loss": losses, "at": at}),
            k=min(LISTED, len(at)),
            sort_keys=[("loss", "descending"), ("at", "ascending")],
        )
        kept.append(incidents.take(at.take(order)))
    return pa.concat_tables(kept) if kept else incidents


def load_assessment(folder: str | Path, *, incidents: bool = False) -> Assessment:
    """Read an assessment from a folder.

    Parameters
    ----------
    folder : str or pathlib.Path
        Written by :func:`save_assessment`.
    incidents : bool
        Whether to read the incidents too.

    Raises
    ------
    ModelError
        When there is no such result, it is damaged, or another version of the program wrote it.
    """
    path = Path(folder) / RESULT
    try:
        data = from_json(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ModelError(
            "this is not a result folder",
            where=str(folder),
            found=f"no {RESULT}" if Path(folder).is_dir() else "no such folder",
            expected="a folder that was written with --save",
        ) from None
    except OSError as error:
        raise ModelError("cannot be read", where=str(path), found=str(error.strerror)) from None
    except (ValueError, RecursionError) as error:
        raise ModelError(
            "a stored assessment is damaged",
            where=str(path),
            found=str(error)[:100],
            expected="the JSON text that was written",
            hint="make it again from the scenario",
        ) from None
    try:
        assessment = Assessment.from_dict(data)
    except ModelError as error:
        place = f"{path}, {error.where}" if error.where else str(path)
        raise ModelError(
            error.message,
            where=place,
            found=error.found,
            expected=error.expected,
            hint=error.hint,
        ) from None
    if not incidents:
        return assessment
    return replace(assessment, incidents=_read_incidents(Path(folder) / INCIDENTS))


def _read_incidents(path: Path) -> pa.Table:
    import pyarrow as pa
    import pyarrow.parquet

    try:
        table = pyarrow.parquet.read_table(path)
        return table.cast(SCHEMA)
    except (OSError, pa.ArrowException, ValueError) as error:
        raise ModelError(
            "the incidents of a stored assessment are damaged",
            where=str(path),
            found=str(error).splitlines()[0][:100],
            expected="the table that was written",
            hint="make it again from the scenario",
        ) from None
