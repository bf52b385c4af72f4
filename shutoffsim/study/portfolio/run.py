"""Run a portfolio: stream the dwellings in blocks, sum up in order."""

from __future__ import annotations

import functools
import hashlib
import math
import pickle
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shutoffsim.engine.run import in_order
from shutoffsim.errors import ModelError
from shutoffsim.model import layout as L
from shutoffsim.study.options import Progress, RunOptions
from shutoffsim.study.periods import checked_periods
from shutoffsim.study.portfolio import block as B
from shutoffsim.study.portfolio.block import Arrays, Failure, Question, read_failures, run_block
from shutoffsim.study.portfolio.dwellings import Dwellings, Row, open_dwellings
from shutoffsim.study.portfolio.result import PortfolioResult, Sums
from shutoffsim.study.portfolio.settings import Base
from shutoffsim.study.portfolio.years import PERIODS, WINDOW, Years
from shutoffsim.version import __version__

if TYPE_CHECKING:
    import pyarrow as pa

    from shutoffsim.scenario import Scenario

HISTORIES = 16
BLOCK = 64  # dwellings per piece of work
_WRITTEN = 64  # blocks per table that is handed on
_LISTED = 1000  # failures that are kept

Blocks = Iterator[tuple[tuple[Row, ...], Arrays]]


def portfolio(
    scenario: Scenario,
    dwellings_path: str | Path,
    *,
    design: str | None = None,
    histories: int = HISTORIES,
    seed: int = 1,
    workers: int = 1,
    region: bool = False,
    return_periods: Sequence[float] | None = None,
    out: Callable[[pa.Table], None] | None = None,
    progress: Progress | None = None,
    cluster: Any = None,
    store: Path | None = None,
) -> PortfolioResult:
    """Estimate the expected annual damage of many dwellings, and of all together.

    Parameters
    ----------
    scenario : Scenario
        From :func:`shutoffsim.load`; what a dwelling's row leaves open is taken from it.
    dwellings_path : str or pathlib.Path
        A CSV or Parquet file with one row a dwelling, see docs/portfolio.md.
    design : str, optional
        Design of the rows that name none; by default the scenario's first.
    histories : int
        Per dwelling.
    seed : int
        0 to 2**64 - 1. A dwelling's histories depend on it and on the number of its row.
    workers : int
        Threads.
    region : bool
        Dwellings of one region (column ``region``; all of them without such a column) live through
        the same weather spells and mains outages.
    return_periods : sequence of float, optional
        Years; return periods at which losses are reported. Default: 2 to 1000.
    out : callable, optional
        Takes the rows of the result as tables, in order, piece by piece; they are not kept then.
        See :class:`shutoffsim.report.table_file.TableFile`.
    progress : callable, optional
        Called as ``progress(dwellings done, dwellings in the file)``.
    cluster : distributed.Client or str, optional
        Compute there instead; see docs/cluster.md.
    store : pathlib.Path, optional
        With a cluster: folder where finished blocks are kept, so that a run can be taken up again.

    Returns
    -------
    PortfolioResult

    Raises
    ------
    RecordError
        A file that cannot be read, unknown columns, or names used twice; before anything runs.
    ScenarioError
        An unknown design.
    ModelError
        A number out of range, or no dwelling that can be run.
    """
    RunOptions(seed, workers, histories, most_histories=B.MOST_HISTORIES)
    periods = checked_periods(PERIODS if return_periods is None else return_periods)
    dwellings = open_dwellings(dwellings_path, scenario)
    base = Base.of(scenario, dwellings.keys, design, region)
    question = Question(base, seed, histories, scenario.service_life / L.YEAR)
    regions = _regions(dwellings, region)
    years = Years(histories, math.floor(question.years + 1e-9), regions, seed)
    sums = Sums(histories, region)
    failures: list[Failure] = []
    failed = done = 0
    writer = _Rows(dwellings, out)
    if cluster is None:
        blocks = _run_here(question, dwellings, workers)
    else:
        blocks = _run_there(question, dwellings, cluster, store, scenario.hash)
    for rows, arrays in blocks:
        sums.add(arrays["sums"], arrays["caps"], arrays["closes"])
        years.add(arrays)
        own = read_failures(arrays)
        failed += len(own)
        failures += own[: _LISTED - len(failures)]
        writer.add(rows, arrays, own, base.design)
        done += len(rows)
        if progress is not None:
            progress(done, dwellings.count)
    if sums.count == 0:
        raise ModelError(
            f"none of the {failed:,} dwellings can be run"
            if failed > 1
            else "the only dwelling cannot be run",
            where=str(dwellings_path),
            found=f"row {failures[0].row}: {failures[0].problem}",
        )
    return PortfolioResult(
        scenario=scenario.name,
        scenario_hash=scenario.hash,
        version=__version__,
        currency=scenario.currency,
        seed=seed,
        histories=histories,
        probes=B.PROBES,
        horizon_years=question.years,
        dwellings=sums.count,
        failed=failed,
        failures=tuple(failures),
        region=region,
        regions=tuple(dwellings.regions) if region and dwellings.with_region else (),
        expected_annual_damage=sums.total(B.DAMAGE),
        insured_annual_damage=sums.total(B.INSURED),
        leaks_per_year=sums.total(B.LEAKS),
        damaging_leaks_per_year=sums.total(B.DAMAGING),
        probability_of_failure_on_demand=sums.share(B.FAILED, B.LEAKS),
        damage_by_counting=sums.total(B.COUNTED),
        curves={curve.name: curve for curve in years.curves(periods)},
        years_simulated=years.distinct,
        years_combined=years.combined,
        notes=_notes(years, region, failed),
        rows=writer.finish(),
    )


def _regions(dwellings: Dwellings, region: bool) -> int | None:
    if not region:
        return None
    if len(dwellings.regions) > B.MOST_REGIONS:
        raise ModelError(
            "too many regions",
            where=dwellings.records.where,
            found=f"{len(dwellings.regions):,} names in column “region”",
            expected=f"at most {B.MOST_REGIONS:,}",
            hint="join regions whose weather is alike",
        )
    return len(dwellings.regions)


def _blocks(dwellings: Dwellings) -> Iterator[tuple[Row, ...]]:
    rows = dwellings.rows()
    while block := tuple(islice(rows, BLOCK)):
        yield block


def _run_here(question: Question, dwellings: Dwellings, workers: int) -> Blocks:
    """Run on threads."""
    return in_order(functools.partial(run_block, question), _blocks(dwellings), workers)


def _run_there(
    question: Question, dwellings: Dwellings, cluster: Any, store: Path | None, scenario_hash: str
) -> Blocks:
    """Run on a cluster; finished blocks are named by all that decides them."""
    from shutoffsim.engine.cluster import Piece, fingerprint, run_pieces_on

    packed = pickle.dumps(question)
    head = hashlib.sha256(f"{fingerprint()}|{scenario_hash}|{question!r}".encode()).digest()
    waiting: deque[tuple[Row, ...]] = deque()

    def pieces() -> Iterator[Piece]:
        for rows in _blocks(dwellings):
            waiting.append(rows)
            name = hashlib.sha256(head + repr(rows).encode()).hexdigest()[:32]
            yield Piece(f"{name}-{rows[0].number}-{len(rows)}", (packed, rows))

    for arrays in run_pieces_on(cluster, run_block, pieces(), store):
        yield waiting.popleft(), arrays


def _notes(years: Years, region: bool, failed: int) -> tuple[str, ...]:
    notes = []
    if failed:
        notes.append(f"rows that could not be run, left out of all sums: {failed:,}")
    if years.distinct == 0:
        notes.append("histories are shorter than a year: no yearly curves")
    elif region:
        notes.append(
            f"the curves count the natural leaks of {years.distinct:,} simulated years, "
            f"{years.histories:,} histories of {years.years} years; dwellings of a region share "
            "weather and mains, and losses of a region that begin within one of the fixed windows "
            f"of {WINDOW / 3600:.0f} hours are one event"
        )
    else:
        notes.append(
            f"the curves count the natural leaks of {years.distinct:,} simulated years of each "
            f"dwelling, combined to {years.combined:,} years of the portfolio, as dwellings share "
            "nothing; an event is one leak of one dwelling"
        )
    if years.distinct:
        notes.append(
            "return periods whose probability the simulated years do not give to within half of "
            "itself are left out"
        )
    return tuple(notes)


def one_line(text: str) -> str:
    """Return a message in one line, as a cell of a table."""
    return "; ".join(" ".join(line.split()) for line in text.splitlines() if line.strip())


class _Rows:
    """Collects the rows of the result and hands them on in tables of several blocks."""

    def __init__(self, dwellings: Dwellings, out: Callable[[pa.Table], None] | None) -> None:
        self._regions = list(dwellings.regions)
        self._with_region = dwellings.with_region
        self._out = out
        self._pending: list[pa.Table] = []
        self._kept: list[pa.Table] = []

    def add(
        self, rows: tuple[Row, ...], arrays: Arrays, failures: list[Failure], design: str
    ) -> None:
        import numpy as np
        import pyarrow as pa

        wrong = {failure.row: one_line(failure.problem) for failure in failures}
        figures = np.full((len(rows), len(B.FIGURES)), np.nan)
        figures[arrays["ran"]] = arrays["figures"]
        columns: dict[str, Any] = {
            "row": pa.array([row.number for row in rows], pa.int64()),
            "dwelling": pa.array([row.identifier for row in rows], pa.string()),
            "design": pa.array([row.design or design for row in rows], pa.string()),
        }
        if self._with_region:
            names = [self._regions[row.region] for row in rows]
            columns["region"] = pa.array(names, pa.string())
        for name, values in zip(B.FIGURES, figures.T, strict=True):
            columns[name] = pa.array(values, pa.float64(), from_pandas=True)
        columns["problem"] = pa.array([wrong.get(row.number) for row in rows], pa.string())
        self._pending.append(pa.table(columns))
        if len(self._pending) == _WRITTEN:
            self._hand_on()

    def _hand_on(self) -> None:
        import pyarrow as pa

        if not self._pending:
            return
        table = pa.concat_tables(self._pending).combine_chunks()
        self._pending.clear()
        if self._out is None:
            self._kept.append(table)
        else:
            self._out(table)

    def finish(self) -> pa.Table | None:
        import pyarrow as pa

        self._hand_on()
        return pa.concat_tables(self._kept) if self._out is None else None
