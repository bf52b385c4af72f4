"""A valve's torque estimated from readings, as text."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

from shutoffsim.report.text import Column, align, bullet, print_section, print_table, wrap
from shutoffsim.study.words import duration
from shutoffsim.version import __version__

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from shutoffsim.estimate.estimate import Estimate
    from shutoffsim.study.fit_torque import TorqueFit

_ROUGH = 3  # digits that count


def print_torque_fit(console: Console, fit: TorqueFit) -> None:
    """Print what was learnt from readings.

    Parameters
    ----------
    console : rich.console.Console
        Where to, from :func:`shutoffsim.report.text.make_console`.
    fit : TorqueFit
        From :func:`shutoffsim.study.fit_torque.fit_torque`.
    """
    width = console.width
    console.print(Text(wrap(_title(fit), width), style="bold"))
    console.print(wrap(_facts(fit), width))
    print_section(console, "Torque needed by age and rest, N*m: median and 95 % interval")
    print_table(console, *_predictions(fit))
    print_section(console, "Prior and posterior: median and 95 % interval", "")
    print_table(console, *_parameters(fit))
    if fit.likeliest is not None:
        console.print(
            wrap(
                "Readings alone: maximum likelihood; values that the readings do not determine "
                "are held at the median of the prior.",
                width,
            )
        )
        console.print()
    print_section(console, "Does the law fit the readings?", "")
    if fit.checks:
        console.print(
            wrap(
                "Share of data sets simulated from the fitted law that show at least as much of "
                "the feature (posterior predictive p-value); below 5 % the law is in doubt.",
                width,
            )
        )
        print_table(console, *_checks(fit))
    else:
        console.print(wrap("Fewer than four readings: this cannot be checked.", width))
        console.print()
    print_section(console, "Read with care", "")
    for note in fit.notes:
        console.print(bullet(note, width))
    print_section(console, "Cautions")
    for caution in fit.cautions:
        console.print(bullet(caution, width))
    print_section(console, "For a scenario")
    # No wrapping: a broken comment would not be TOML any more.
    console.print(Text(fit.fragment().rstrip("\n")), soft_wrap=True)
    console.print()
    console.print(
        wrap(
            f"{fit.belief.n:,} posterior draws, worth {min(fit.effective, fit.belief.n):,.0f} "
            f"independent ones; seed {fit.seed}; {_scenario(fit)}shutoffsim {__version__}.",
            width,
        )
    )


def _title(fit: TorqueFit) -> str:
    now = fit.predictions[0].closing
    return (
        f"{Path(fit.source).name}: {fit.whose} takes about {_digits(now.value)} N*m to close "
        f"({_digits(now.low)} to {_digits(now.high)}) just after it was moved"
    )


def _facts(fit: TorqueFit) -> str:
    first, last = fit.days
    count = f"{len(fit.rows)} readings" if len(fit.rows) != 1 else "1 reading"
    before = fit.before[0].closing
    return (
        f"{count} from {first} to {last}; the valve is {duration(fit.age)} old. Prior, from "
        f"{fit.prior_source}: {_digits(before.value)} N*m ({_digits(before.low)} to "
        f"{_digits(before.high)})."
    )


def _scenario(fit: TorqueFit) -> str:
    return "" if fit.scenario_hash is None else f"scenario {fit.scenario_hash}, "


def _predictions(fit: TorqueFit) -> tuple[Column, list[Column]]:
    rows = fit.predictions
    return Column("when, rest", tuple(row.when for row in rows)), [
        _estimates("to open", [row.opening for row in rows]),
        _estimates("to close", [row.closing for row in rows]),
        Column("95th percentile of closings", align([_digits(row.stroke) for row in rows])),
    ]


def _parameters(fit: TorqueFit) -> tuple[Column, list[Column]]:
    rows = fit.parameters
    labels = tuple(f"{row.name}, {row.unit}" if row.unit else row.name for row in rows)
    columns = [
        _estimates("prior", [row.before for row in rows]),
        _estimates("posterior", [row.after for row in rows]),
    ]
    if any(row.alone is not None for row in rows):
        columns.append(_estimates("readings alone", [row.alone for row in rows]))
    return Column("value", labels), columns


def _checks(fit: TorqueFit) -> tuple[Column, list[Column]]:
    verdicts = tuple("in doubt" if check.doubtful else "fits" for check in fit.checks)
    return Column("feature", tuple(check.feature for check in fit.checks)), [
        Column("share", align([f"{check.p:.2f}" for check in fit.checks])),
        Column("verdict", verdicts),
    ]


def _estimates(head: str, values: Sequence[Estimate | None]) -> Column:
    shown = align(["" if e is None else _digits(e.value) for e in values])
    cells = [
        "" if e is None else f"{text} ({_digits(e.low)} to {_digits(e.high)})"
        for text, e in zip(shown, values, strict=True)
    ]
    return Column(head, tuple(cells))


def _digits(value: float) -> str:
    """Return a number with three digits that count, two where the first is large.

    >>> _digits(5.284), _digits(0.15), _digits(12.94), _digits(9.0)
    ('5.28', '0.15', '12.9', '9')
    """
    return f"{value:.{_ROUGH}g}"
