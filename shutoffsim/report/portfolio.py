"""A portfolio as text, and the rows of its dwellings as a file."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import pyarrow as pa
from rich.text import Text

from shutoffsim.errors import OutputError
from shutoffsim.report.files import OutputFile
from shutoffsim.report.tables import CAUTION
from shutoffsim.report.text import Column, pack, plus_minus, ranges, wrap
from shutoffsim.study.compare import amount

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.estimate.estimate import Estimate
    from shutoffsim.study.portfolio import PortfolioResult

_SHOWN = 10  # failures that are printed


class RowFile:
    """A CSV or Parquet file that takes the rows of dwellings piece by piece.

    A context manager around :class:`shutoffsim.report.files.OutputFile`, with its errors: the file
    is there in full, or not at all.

    Parameters
    ----------
    path : str or pathlib.Path
        Its end, ``.csv`` or ``.parquet``, chooses the form.

    Raises
    ------
    OutputError
        When the name has another end.
    """

    def __init__(self, path: str | Path) -> None:
        self._path = Path(path)
        self._kind = self._path.suffix.lower()
        if self._kind not in (".csv", ".parquet"):
            raise OutputError(
                "no known form of table",
                where=str(path),
                expected="a name that ends in .csv or .parquet",
            )
        self._writer: Any = None
        self._stack = ExitStack()

    def __enter__(self) -> Self:
        self._file = self._stack.enter_context(OutputFile(self._path))
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stack.__exit__(kind, error, trace)

    def add(self, table: pa.Table) -> None:
        """Append rows; the first table decides the columns."""
        if self._writer is None:
            self._writer = self._stack.enter_context(self._open(table.schema))
        self._writer.write_table(table)

    def _open(self, schema: pa.Schema) -> Any:
        if self._kind == ".csv":
            import pyarrow.csv

            return pyarrow.csv.CSVWriter(self._file, schema)
        import pyarrow.parquet

        return pyarrow.parquet.ParquetWriter(self._file, schema, compression="zstd")


def print_portfolio(console: Console, result: PortfolioResult, file: str) -> None:
    """Print the figures of a whole portfolio, and which dwellings could not be run.

    Parameters
    ----------
    console : rich.console.Console
    result : PortfolioResult
        From :func:`shutoffsim.study.portfolio.portfolio`.
    file : str
        The table of dwellings.
    """
    width = console.width
    console.print(Text(f"{result.scenario}: {result.dwellings:,} dwellings", style="bold"))
    console.print(wrap("with the 95 % interval of the simulation", width))
    label = Column("whole portfolio", ("all dwellings",))
    for table in pack(label, _totals(result), width):
        console.print()
        console.print(table)
    if result.curves:
        _print_curves(console, result)
    console.print()
    console.print(Text(wrap(result.answer(), width), style="bold"))
    console.print()
    for note in result.notes:
        console.print(wrap(f"{note[0].upper()}{note[1:]}.", width))
    console.print(
        wrap(
            "The intervals hold for the simulation alone: what the scenario and the table of "
            "dwellings say is taken as true.",
            width,
        )
    )
    if result.failed:
        _print_failures(console, result, file)
    console.print()
    console.print(
        wrap(
            f"{result.histories:,} histories of {result.horizon_years:g} years a dwelling, "
            f"{result.probes} probes each, seed {result.seed}; scenario {result.scenario_hash}, "
            f"shutoffsim {result.version}.",
            width,
        )
    )
    console.print(wrap(CAUTION, width))


def _totals(result: PortfolioResult) -> list[Column]:
    return [
        ranges(f"expected annual damage, {result.currency}", [result.expected_annual_damage]),
        ranges(f"insured part, {result.currency} a year", [result.insured_annual_damage]),
        plus_minus("leaks a year", [result.leaks_per_year]),
        plus_minus("damaging leaks a year", [result.damaging_leaks_per_year]),
        plus_minus(
            "probability of failure on demand",
            [result.probability_of_failure_on_demand],
            100.0,
            "%",
        ),
    ]


def _print_curves(console: Console, result: PortfolioResult) -> None:
    periods = sorted({years for curve in result.curves.values() for years in curve.at_periods})
    if not periods:
        return
    heads = {"occurrence": "largest event of a year", "aggregate": "all losses of a year"}
    label = Column("once in ... years", tuple(f"{years} years" for years in periods))
    columns = [
        Column(
            f"{heads[name]} exceeds, {result.currency}",
            tuple(_loss(curve.at_periods.get(years)) for years in periods),
        )
        for name, curve in result.curves.items()
    ]
    for table in pack(label, columns, console.width):
        console.print()
        console.print(table)


def _loss(e: Estimate | None) -> str:
    """Return an amount with its interval; its digits follow from that."""
    if e is None:
        return "not resolved"
    error = (min(e.high, 2.0 * e.value) - e.low) / 4.0
    high = "?" if e.high == float("inf") else amount(e.high, error)
    return f"{amount(e.value, error)} ({amount(e.low, error)} to {high})"


def _print_failures(console: Console, result: PortfolioResult, file: str) -> None:
    console.print()
    more = f" (the first {_SHOWN})" if result.failed > _SHOWN else ""
    console.print(wrap(f"Rows that could not be run: {result.failed:,}{more}", console.width))
    for failure in result.failures[:_SHOWN]:
        console.print(f"{file}, row {failure.row} (“{failure.dwelling}”): {failure.problem}")
