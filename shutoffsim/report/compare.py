"""A comparison as text: what each design is expected to do, and the answer in one sentence."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from rich.text import Text

from shutoffsim.report.steps import print_steps
from shutoffsim.report.table_file import harmless
from shutoffsim.report.text import (
    Column,
    improvement,
    percent,
    plus_minus,
    print_table,
    ranges,
    wrap,
)
from shutoffsim.report.verdict import verdict
from shutoffsim.report.worlds import worlds_pieces
from shutoffsim.study.cautions import ESTIMATE
from shutoffsim.study.comparison import FIGURES

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.study.comparison import Comparison, DesignResult, Difference

_SURE = 0.999  # no need to say how sure beyond this
_MODES_SHOWN = 4
_LEAST_SHARE = 0.005  # of all leaks; a rarer failure mode is not among the largest


def print_comparison(
    console: Console,
    result: Comparison,
    file: str,
    wanted: str = "",
    brief: bool = False,
    full: bool = False,
) -> None:
    """Print a comparison of designs: the verdict, the steps, then what it rests on.

    Parameters
    ----------
    console : rich.console.Console
        Where to; its width decides how the tables are cut.
    result : Comparison
        From :func:`shutoffsim.compare`.
    file : str
        The scenario file, for the hint where the assumptions are listed.
    wanted : str
        The precision asked for, as a person wrote it; used when it was not reached.
    brief : bool
        Leave the steps out.
    full : bool
        All tables.
    """
    names = tuple(design.name for design in result.designs)
    title = f"{result.scenario}: {_count(len(names), 'design')}, figures per dwelling"
    console.print(Text(title, style="bold"))
    console.print(Text(wrap(result.answer(), console.width), style="bold"))
    sure, ranges_of, first = worlds_pieces(result, console.width)
    for sentence in (*sure, *(wrap(line, console.width) for line in verdict(result))):
        console.print(sentence)
    if full:
        _print_tables(console, result, names)
        console.print(*ranges_of, sep="", end="")
    elif not brief:
        print_steps(console, result)
    if first and not brief:
        console.print()
        console.print(*first, sep="", end="")
    cautions = _cautions(result, wanted)
    if cautions:
        console.print("\nRead the intervals with care:")
        for line in cautions:
            console.print(wrap(line, console.width))
    console.print()
    if not full:
        console.print(wrap(f"All tables: shutoffsim compare {file} --full", console.width))
    console.print(wrap(_facts(result), console.width))
    rests = _count(len(result.assumptions), "assumption")
    console.print(
        wrap(
            f"The result rests on {rests}, listed by: shutoffsim check {file} --all", console.width
        )
    )
    console.print(wrap(ESTIMATE, console.width))


def design_rows(result: Comparison) -> str:
    """Return the figures as comma-separated values, one row a design; unknown ones are empty."""
    table = result.table().reset_index().replace([math.inf, -math.inf], math.nan)
    texts = table.select_dtypes(exclude="number").columns
    table[texts] = table[texts].map(harmless, na_action="ignore")
    return table.to_csv(index=False)


def _print_tables(console: Console, result: Comparison, names: tuple[str, ...]) -> None:
    console.print(
        "\nWith the 95 % interval of the simulation, as (low to high) or as ± half its width:"
    )
    modes = Column("largest failure modes, share of all leaks", _modes(result), wraps=True)
    tables = [_columns(result), [modes]]
    if any(design.fitting_test for design in result.designs):
        tables.append([Column("fitting test", _fitting(result), wraps=True)])
    for columns in tables:
        print_table(console, Column("design", names), columns, "before")


def _columns(result: Comparison) -> list[Column]:
    designs = result.designs
    columns = [
        ranges(
            f"expected annual damage, {result.currency}",
            [design.expected_annual_damage for design in designs],
        )
    ]
    if result.differences:
        found = {difference.design: difference for difference in result.differences}
        gaps = [found.get(design.name) for design in designs]
        columns += [
            ranges(
                f"reduction against “{designs[0].name}”, {result.currency} a year",
                [None if gap is None else -gap.expected_annual_damage for gap in gaps],
            ),
        ]
        doubts = tuple("" if gap is None else _doubt(gap) for gap in gaps)
        if any(doubts):
            columns.append(Column("probability of improvement", doubts))
    volumes = [design.escaped_volume_l for design in designs]
    columns += [
        *_figures(designs),
        plus_minus("escaped volume, L: median", [volume["median"] for volume in volumes]),
        plus_minus("escaped volume, L: 95th percentile", [volume["p95"] for volume in volumes]),
    ]
    return columns


def _doubt(gap: Difference) -> str:
    """Return how sure an improvement is, where that is in doubt."""
    return "" if gap.probability_of_improvement > _SURE else improvement(gap)


def _figures(designs: tuple[DesignResult, ...]) -> Iterator[Column]:
    """Yield every figure with a label."""
    for name, figure in FIGURES.items():
        if figure.label:
            share = (100.0, "%") if figure.unit == "1" else ()
            yield plus_minus(figure.label, [getattr(d, name) for d in designs], *share)


def _fitting(result: Comparison) -> tuple[str, ...]:
    return tuple(
        ", ".join(
            f"{name} {percent(share)}"
            for name, share in design.fitting_test.items()
            if share.value > 0.0
        )
        for design in result.designs
    )


def _modes(result: Comparison) -> tuple[str, ...]:
    return tuple(_largest_modes(design) for design in result.designs)


def _largest_modes(design: DesignResult) -> str:
    shown = [
        f"{mode} {percent(share)}"
        for mode, share in list(design.failure_modes.items())[:_MODES_SHOWN]
        if share.value >= _LEAST_SHARE
    ]
    return ", ".join(shown) if shown else "none"


def _cautions(result: Comparison, wanted: str) -> list[str]:
    lines = []
    if not result.reached:
        lines.append(
            f"The requested precision{f' of {wanted}' if wanted else ''} was not reached after "
            f"{_count(result.histories, 'history')}."
        )
    if result.histories == 1:
        lines.append("One history gives no intervals; run more.")
    for design in result.designs:
        if design.warnings:
            lines.append(f"“{design.name}”: {'; '.join(design.warnings)}.")
    return lines


def _facts(result: Comparison) -> str:
    return (
        f"{_count(result.histories, 'history')} of {result.horizon_years:g} years, "
        f"{_count(result.probes, 'probe')} each, seed {result.seed}; "
        f"scenario {result.scenario_hash}, shutoffsim {result.version}, {result.engine} engine."
    )


def _count(number: int, word: str) -> str:
    if number == 1:
        return f"1 {word}"
    return f"{number:,} {word[:-1]}ies" if word.endswith("y") else f"{number:,} {word}s"
