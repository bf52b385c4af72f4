"""Figures of a fit of torque: over rest, readings against the law, before and after."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import seaborn as sns
from matplotlib.figure import Figure
from numpy.typing import NDArray

from shutoffsim.model.layout import YEAR
from shutoffsim.model.valve import WEEK
from shutoffsim.report.figures import blank, round_ticks
from shutoffsim.study.fit_torque.rows import BELOW, BETWEEN, EXACT, NOT_MOVED

if TYPE_CHECKING:
    from shutoffsim.study.fit_torque import TorqueFit

_MARKS = {EXACT: "o", NOT_MOVED: "^", BELOW: "v", BETWEEN: "_"}
_WORDS = {
    EXACT: "moved at this torque",
    NOT_MOVED: "did not move: needs more",
    BELOW: "moved below: needs less",
    BETWEEN: "moved between these",
}
_TICKS = (0.0, 1.0, 4.0, 13.0, 52.0, 104.0, 260.0, 520.0, 1040.0)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _plot_readings(
    axes: Any, fit: TorqueFit, x: NDArray[np.float64], factor: NDArray[np.float64]
) -> None:
    """Mark each reading at ``x``, its torque times ``factor``, by outcome and direction."""
    colours = sns.color_palette("colorblind")
    seen: set[tuple[str, bool]] = set()
    for at, scale, row in zip(x, factor, fit.rows, strict=True):
        reading = row.reading
        key = reading.outcome, reading.closing
        label = None
        if key not in seen:
            label = f"{'closing' if reading.closing else 'opening'}, {_WORDS[reading.outcome]}"
        seen.add(key)
        ink = colours[0] if reading.closing else colours[1]
        low, high = reading.low * scale, reading.high * scale
        ends = [low if low > 0.0 else high]
        if reading.outcome == BETWEEN:
            ends = [low, high]
            axes.plot([at, at], ends, color=ink, linewidth=1.5)
        axes.plot(
            [at] * len(ends),
            ends,
            linestyle="none",
            marker=_MARKS[reading.outcome],
            markersize=8,
            color=ink,
            markeredgecolor="0.15",
            markerfacecolor=ink if reading.closing else "white",
            label=label,
            zorder=3,
        )


def torque_over_rest(fit: TorqueFit) -> Figure:
    """Return torque to close against rest: what is believed, and the readings put on its scale.

    A reading of opening, of another age or of another valve is multiplied by what the fit says of
    the difference.
    """
    figure, (axes,) = blank()
    colours = sns.color_palette("colorblind")
    most = max(max(row.idle for row in fit.rows) / WEEK, 104.0)
    weeks = np.expm1(np.linspace(0.0, np.log1p(most * 1.2), 60))
    draws = np.array([fit.belief.torque(fit.age, w * WEEK, closing=True) for w in weeks])
    low, middle, high = np.quantile(draws, [0.025, 0.5, 0.975], axis=1)
    x = np.log1p(weeks)
    axes.fill_between(
        x, low, high, color=colours[0], alpha=0.2, label="95 % interval of the fitted law"
    )
    axes.plot(x, middle, color=colours[0], linewidth=2.0, label="the fitted law, median")
    spread = np.exp(fit.belief.scatter * np.random.default_rng(1).standard_normal(fit.belief.n))
    stroke = np.quantile(draws * spread, 0.95, axis=1)
    axes.plot(x, stroke, color="0.3", linestyle="--", label="95th percentile of closings")
    rests = np.array([row.idle for row in fit.rows])
    common = np.array(
        [np.median(np.log(fit.belief.torque(fit.age, r, closing=True))) for r in rests]
    )
    factor = np.exp(common - np.median(fit.expected, axis=0))
    _plot_readings(axes, fit, np.log1p(rests / WEEK), factor)
    ticks = [tick for tick in _TICKS if tick <= most * 1.2]
    axes.set_xticks(np.log1p(ticks), [f"{tick:g}" for tick in ticks])
    axes.set_ylim(0.0, 1.45 * axes.get_ylim()[1])  # room for the legend
    axes.set_xlabel("weeks since the valve was last moved")
    axes.set_ylabel("torque to close now, N*m")
    axes.set_title(f"{_capital(fit.whose)}: torque to close after rest", loc="left")
    axes.legend(fontsize=8, frameon=True, loc="upper left", ncols=2)
    return figure


def readings_against_law(fit: TorqueFit) -> Figure:
    """Return each reading against what the law expects of it, with the 95 % range of readings."""
    figure, (axes,) = blank()
    expected = np.exp(np.median(fit.expected, axis=0))
    marks = [limit for row in fit.rows for limit in (row.reading.low, row.reading.high)]
    known = [mark for mark in marks if 0.0 < mark < np.inf]
    low, high = min(*known, *expected) / 1.3, max(*known, *expected) * 1.3
    line = np.geomspace(low, high, 50)
    factor = float(np.exp(1.96 * np.median(fit.belief.scatter)))
    axes.fill_between(
        line, line / factor, line * factor, color="0.6", alpha=0.3, label="95 % of readings"
    )
    axes.plot(line, line, color="0.3", linewidth=1.0, label="as expected")
    _plot_readings(axes, fit, expected, np.ones(len(expected)))
    axes.set_xscale("log")
    axes.set_yscale("log")
    digits = (1.0, 2.0, 5.0) if high > 10.0 * low else (1.0, 1.5, *range(2, 10))
    ticks = [c * 10.0**e for e in range(-3, 4) for c in digits]
    for axis, limits in ((axes.xaxis, axes.set_xlim), (axes.yaxis, axes.set_ylim)):
        limits(low, high)
        shown = [tick for tick in ticks if low <= tick <= high]
        axis.set_ticks(shown, [f"{tick:g}" for tick in shown])
        axis.set_minor_locator(mpl.ticker.NullLocator())
    axes.set_xlabel("torque expected by the fitted law, N*m")
    axes.set_ylabel("torque read, N*m")
    axes.set_title("Readings against the fitted law", loc="left")
    axes.legend(fontsize=8, frameon=True)
    return figure


def before_and_after(fit: TorqueFit) -> Figure:
    """Return the distribution of torque to close after a month of rest, before and after."""
    figure, (axes,) = blank()
    colours = sns.color_palette("colorblind")
    month = YEAR / 12.0
    for belief, style, ink, label in (
        (fit.prior, "--", "0.35", "prior"),
        (fit.belief, "-", colours[0], f"posterior, {len(fit.rows)} readings"),
    ):
        draws = np.sort(belief.torque(fit.age, month, closing=True))
        over = 1.0 - (np.arange(len(draws)) + 0.5) / len(draws)
        axes.plot(draws, 100.0 * over, linestyle=style, color=ink, linewidth=2.0, label=label)
    low, high = (
        float(q)
        for q in np.quantile(fit.prior.torque(fit.age, month, closing=True), [0.002, 0.998])
    )
    round_ticks(axes, low, high)
    axes.set_ylim(0.0, 100.0)
    axes.set_xlabel("torque to close now, after a month of rest, N*m")
    axes.set_ylabel("chance that it is more, %")
    axes.set_title(f"{_capital(fit.whose)}: prior and posterior", loc="left")
    axes.legend(fontsize=9, frameon=True)
    return figure


FIGURES = {
    "torque_over_rest": torque_over_rest,
    "readings_against_law": readings_against_law,
    "before_and_after": before_and_after,
}


def draw_figures(fit: TorqueFit) -> dict[str, Figure]:
    """Return all figures of a fit by name."""
    return {name: drawing(fit) for name, drawing in FIGURES.items()}
