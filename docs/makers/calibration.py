"""Calibration: what insurers published beside what is simulated."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from makers import DOCS, Files
from makers.claims import FIGURES, Calibration, calibrate
from makers.insurers import Line
from makers.markdown import generated, table
from shutoffsim import units
from shutoffsim.scenario import library

_HEAD = """\
{generated}

# Calibration

Does the case without automation look like what insurers pay? Three constants of the library were
fitted to figures of one country and period; every other figure below is a check. All simulated
values come with a standard error (simulation only), from {histories:,} histories of ten years with
seed {seed}, common to all runs.

## What is fitted

| constant | in the library | fitted anew, as a factor on it | fitted to |
|---|---|---|---|
| leaks per dwelling-year, all rates together | {leaks} | {rate} | claim frequency |
| cost level: fixed loss, loss per area, contents | {costs} | {cost} | mean claim |
| upper end (95 %) of the film thickness | {film} | {thick} | empty / occupied |

Least squares on the logarithms, as many constants as figures, so the
fit can meet them all; the largest residual left is {residual}. The factors differ from 1 by
rounding in the library and by the noise of the fit: the losses have a heavy tail, and the film
thickness is the least well told of the three.

## United States, 2018-2022

`scenarios/reference_us_house.toml`: a detached house, deductible USD 1,000 (common practice). A
claim is a loss above the deductible; its size is what the policy pays. Every such loss is taken
to be claimed. {isolable}
"""

_ISOLABLE = (
    "Published claims include drains and waterproofing, which a closed main valve cannot stop: "
    "80 % (75-85 %, assumed) are compared, and the others are taken to cost the same."
)

_AFTER_US = """
The simulated house has {leak_rate} leaks a year that wet anything and {damaging} that cost
something. Leaks too small to notice are not in the model.
"""

_SOURCES = """
### Kinds of leak, relative mean claims (not fitted)
"""

_PERIODS = """
### Other periods (not fitted)

Twice for each period: with costs moved by general consumer prices alone, and with the cost level
that reproduces the mean claim, which leaves the frequency as the check. Leak rates and the
deductible stay as they are.
"""

_AFTER_PERIODS = """
Read: claims grew faster than prices, and became rarer while they grew. A model with constant leak
rates, constant habits of claiming and a constant deductible cannot follow that; it should be read
as a picture of 2018-2022, and of other years only within a factor of {frequency:.1f} in frequency
and {mean:.1f} in mean claim, the largest seen above.
"""

_GERMAN = """
## Germany, 2019

`scenarios/reference_german_flat.toml`: the upper flat of a two-family house, no deductible (common
practice). The published figures are per building policy, 1.07 million claims on 19-20 million
policies; a building has about 2.1 dwellings (from memory), so the dwelling is the unit here. One
factor on all losses of the scenario file is fitted (again: {factor}), the frequency is a check.
"""

_TAIL = """
Read: with no deductible, small claims count, and the simulated frequency is {short:.0%} of the
published one. Small leaks below an American deductible, which the fit cannot see, and heating and
drain pipes in German claims may both be the reason. The German cost level is {level} of the
library's, so take your own country's prices for anything but a comparison of designs.

## What remains an assumption

The shares of the kinds of leak, flows and their spread, how often seeps grow, when people notice,
what share of claims a main valve can stop, that all losses above the deductible are claimed, and
that both countries' houses leak alike. The three constants absorb errors in these: they are
right only together with them. The list of [what nobody knows](what-nobody-knows.md) has them all.

## Sources
"""


def page(c: Calibration) -> str:
    """The calibration as Markdown.

    Parameters
    ----------
    c : Calibration
        From :func:`makers.claims.calibrate`.
    """
    constants, errors = c.us_fit.constants, c.us_fit.errors
    costs = [str(_value("damage", key)) for key in ("fixed_loss", "area_loss", "contents_loss")]
    head = _HEAD.format(
        generated=generated("calibration"),
        histories=c.histories,
        seed=c.seed,
        leaks=f"{leaks_per_year():.4f}",
        rate=_with_error(constants.rate, errors.rate),
        costs=", ".join(costs),
        cost=_with_error(constants.cost, errors.cost),
        film=_value("dwelling", "film")["high"],
        thick=_with_error(constants.film, errors.film),
        isolable=_ISOLABLE,
        residual=f"{_largest_residual(c):.1%}",
    )
    german = _GERMAN.format(
        factor=_with_error(c.german_fit.constants.cost, c.german_fit.errors.cost)
    )
    sources: list[str] = []
    blocks = [
        head,
        _table(c.us, sources),
        _AFTER_US.format(
            leak_rate=f"{c.extras['leaks']:.4f}", damaging=f"{c.extras['damaging']:.4f}"
        ),
        _SOURCES,
        _table(c.sources, sources),
        _PERIODS,
        _table(c.periods, sources),
        _AFTER_PERIODS.format(
            frequency=_largest_factor(c.periods, "claim frequency"),
            mean=_largest_factor(c.periods, "mean claim"),
        ),
        german,
        _table(c.german, sources),
        _TAIL.format(
            level=f"{c.extras['german level']:.0%}",
            short=c.german[1].simulated / c.german[1].published.value,
        ),
        "\n".join(f"{number}. {text}" for number, text in enumerate(sources, start=1)),
        "",
    ]
    return "\n".join(blocks)


def _largest_residual(c: Calibration) -> float:
    figures = ((FIGURES[line.name], line.published) for line in c.us if line.role == "fitted")
    return max(abs(c.us_fit.claims.estimate(f)[0] / p.value - 1.0) for f, p in figures)


def _largest_factor(lines: Sequence[Line], figure: str) -> float:
    ratios = [x.simulated / x.published.value for x in lines if x.name.endswith(figure)]
    return max(max(ratio, 1.0 / ratio) for ratio in ratios)


def leaks_per_year() -> float:
    """Leaks per dwelling and year that the library's rates are made of.

    Pipe joints and pinholes are two halves of 82 % of the 40 % that supply pipes have.
    """
    rate = units.parse(str(_value("leak_kinds", "pipe joint", "rate")), "rate")
    year = units.parse("1 per year", "rate")
    return rate / year * 2.0 / (0.40 * 0.82)


def _value(*path: str) -> Any:
    entry = library.find(*path)
    assert entry is not None, path
    return entry.value


def _table(lines: Sequence[Line], sources: list[str]) -> str:
    rows = []
    for line in lines:
        p = line.published
        if p.source not in sources:
            sources.append(p.source)
        rows.append(
            (
                line.name,
                _number(p.value),
                f"{_number(p.low)} to {_number(p.high)}",
                _with_error(line.simulated, line.std_error),
                line.role,
                line.verdict,
                str(sources.index(p.source) + 1),
            )
        )
    names = ("figure", "published", "range", "simulated", "role", "", "source")
    return "\n".join(table(names, rows))


def _number(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:.4f}" if value < 0.1 else f"{value:.2f}"


def _with_error(value: float, error: float) -> str:
    if value >= 100:
        return f"{value:,.0f} ± {error:,.0f}"
    digits = 5 if value < 0.1 else 3
    return f"{value:.{digits}f} ± {error:.{digits}f}"


def files() -> Files:
    """Yield the page."""
    yield DOCS / "calibration.md", page(calibrate()).encode()
