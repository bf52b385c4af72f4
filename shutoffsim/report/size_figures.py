"""Figures of a sizing: torque over the years, probability by rating, window, stall, interval."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import seaborn as sns
from matplotlib.figure import Figure

from shutoffsim.report.figures import blank, round_ticks
from shutoffsim.study.size.need import IN_USE
from shutoffsim.study.size.supply import RAISED
from shutoffsim.study.size.window import LIMITS
from shutoffsim.study.torque import SHARES
from shutoffsim.study.words import duration

if TYPE_CHECKING:
    from shutoffsim.study.size import Sizing

_WIDTH = 7.5  # inches
_LEAST = 3e-4  # of demands: smaller probabilities are drawn at the foot of the scale
_DAY = 86400.0


def torque_over_years(result: Sizing) -> Figure:
    """Return torque needed over the years against what the actuator in use gives."""
    colours = sns.color_palette("colorblind")
    figure, (axes,) = blank(_WIDTH)
    rows = [row for row in result.needs if row.exercise == IN_USE]
    years = [row.years for row in rows]
    for i, (share, style, mark) in enumerate(zip(SHARES, ("-", "--", ":"), "os^", strict=True)):
        axes.plot(
            years,
            [row.quantiles[i] for row in rows],
            linestyle=style,
            marker=mark,
            color=colours[0],
            label=f"{share:.0%} of demands need up to",
        )
    never = [row for row in result.needs if row.exercise == "never"]
    axes.plot(
        [row.years for row in never],
        [row.quantiles[1] for row in never],
        linestyle=(0, (5, 1, 1, 1, 1, 1)),
        marker="D",
        color=colours[3],
        label="95 %, never exercised",
    )
    first, worst = result.conditions[0], result.conditions[-1]
    for row, style in ((first, "-"), (worst, "-.")):
        axes.axhline(row.torque, linestyle=style, linewidth=2.5, color="black")
        axes.annotate(
            f"available, {row.name}",
            (years[-1], row.torque),
            xytext=(0, 3),
            textcoords="offset points",
            ha="right",
            fontsize=8,
        )
    axes.axvline(result.horizon_years, color="0.6", linewidth=1.0)
    axes.set_ylim(0.0, None)
    axes.set_xlabel("years from now (grey line: end of the service life)")
    axes.set_ylabel("torque, N*m")
    axes.set_title("Torque needed and available", loc="left")
    axes.legend(fontsize=8, frameon=True, loc="upper left")
    return figure


def probability_by_rating(result: Sizing) -> Figure:
    """Return the probability that torque fails against the rating, with the target."""
    colours = sns.color_palette("colorblind")
    figure, (axes,) = blank(_WIDTH)
    ratings = [rung.rating for rung in result.rungs]
    rows = result.shortfalls
    axes.fill_between(
        ratings,
        [max(row.valves_low, _LEAST) for row in rows],
        [max(row.valves_high, _LEAST) for row in rows],
        color=colours[0],
        alpha=0.18,
        label="nine valves in ten",
    )
    for estimates, mark, style, colour, label in (
        ([row.failure for row in rows], "o", "-", colours[0], "torque alone, mean over valves"),
        ([row.failure for row in result.worths], "s", "--", colours[3], "whole histories"),
    ):
        values = np.array([max(e.value, _LEAST) for e in estimates])
        low = values - [min(max(e.low, _LEAST), max(e.value, _LEAST)) for e in estimates]
        high = np.array([max(e.high, _LEAST) for e in estimates]) - values
        axes.errorbar(
            ratings,
            values,
            yerr=[low, high],
            marker=mark,
            linestyle=style,
            color=colour,
            capsize=3,
            label=label,
        )
    axes.axhline(result.target, color="black", linestyle=":", label="target")
    axes.axvline(ratings[result.own], color="0.5", linewidth=1.0, linestyle="--", label="in use")
    if result.recommended is not None:
        axes.axvline(result.recommended, color="0.2", linewidth=2.0, alpha=0.4, label="recommended")
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_ylim(_LEAST, 1.3)
    axes.set_xticks(ratings, [f"{rating:.3g}" for rating in ratings])
    axes.minorticks_off()
    axes.set_yticks([0.001, 0.01, 0.1, 1.0], ["0.1 %", "1 %", "10 %", "100 %"])
    axes.set_xlabel("rating: stall torque on the data sheet, N*m")
    axes.set_ylabel("torque fails on demand")
    axes.set_title("Probability of failure on demand from torque", loc="left")
    axes.legend(fontsize=8, frameon=True, loc="lower left")
    return figure


def window_of_torque(result: Sizing) -> Figure:
    """Return torque required, torque available and the limit of each part."""
    colours = sns.color_palette("colorblind")
    figure, (axes,) = blank(_WIDTH)
    window = result.window
    bounds = [(LIMITS[name], value) for name, value in window.upper.items()]
    shown = [(name, value) for name, value in bounds if math.isfinite(value) and value > 0.0]
    labels = [
        "required by the valve",
        "available from the actuator in use",
        *(name for name, _ in shown),
    ]
    values = [window.lower, window.weak, window.strong, *(value for _, value in shown)]
    low, high = min(v for v in values if v > 0.0) / 2.0, max(values) * 2.0
    parts = [(window.lower, high), (window.weak, window.strong), *((low, v) for _, v in shown)]
    hatches = ("", "xx", *("//" for _ in shown))
    inks = (colours[0], colours[1], *(colours[7] for _ in shown))
    for at, ((start, end), hatch, ink) in enumerate(zip(parts, hatches, inks, strict=True)):
        axes.barh(
            at, end - start, left=start, height=0.55, color=ink, alpha=0.55, hatch=hatch,
            edgecolor="0.25",
        )  # fmt: skip
        ends = f"{start:.3g} to {end:.3g}" if at == 1 else f"{start if at == 0 else end:.3g}"
        place, side = (start, "right") if at == 0 else (end, "left")
        axes.annotate(
            ends,
            (place, at),
            xytext=(-4 if side == "right" else 4, 0),
            textcoords="offset points",
            fontsize=9,
            ha=side,
            va="center",
        )
    name, bound = window.least_upper
    if not window.empty and math.isfinite(bound):
        axes.axvspan(window.lower, bound, color=colours[2], alpha=0.25, zorder=0)
        title = f"The window: {window.lower:.3g} to {bound:.3g} N*m"
    elif window.empty:
        title = f"The window is empty: the {LIMITS[name]} is below the torque required"
    else:
        title = f"The window: from {window.lower:.3g} N*m on"
    round_ticks(axes, low, high)
    axes.set_yticks(range(len(labels)), labels)
    axes.set_ylim(len(labels) - 0.5, -0.7)
    axes.set_xlabel(f"torque at the shaft, N*m ({result.confidence:.0%} confidence)")
    axes.set_title(title, loc="left", fontsize=10)
    return figure


def closing_and_stall(result: Sizing) -> Figure:
    """Return closing time against torque, and the winding's temperature when the valve is stuck."""
    colours = sns.color_palette("colorblind")
    figure, (left, right) = blank(10.0, panels=2)
    curve = result.stall
    left.plot(curve.torques, curve.closing, color=colours[0], label="supply as stated")
    left.plot(curve.torques, curve.closing_worst, color=colours[3], linestyle="--", label="bad day")
    median = result.closing_torques[0]
    left.axvline(
        median,
        color="0.4",
        linestyle=":",
        label=f"half of the demands, in {result.horizon_years:.3g} years",
    )
    if np.isfinite(curve.closing).any():  # else there is nothing to scale
        left.set_yscale("log")
    left.yaxis.set_major_formatter(lambda x, _at: f"{x:g}")
    left.yaxis.set_minor_formatter(lambda x, _at: f"{x:g}" if f"{x:g}"[0] in "25" else "")
    left.set_xlabel("torque of the valve, N*m")
    left.set_ylabel("time to close, s")
    left.set_title("Closing", loc="left")
    left.legend(fontsize=8, frameon=True)
    right.plot(curve.seconds, curve.supply, color=colours[0], label="supply as stated")
    right.plot(
        curve.seconds,
        curve.raised,
        color=colours[3],
        linestyle="--",
        label=f"voltage raised by {RAISED - 1.0:.0%}",
    )
    right.axhline(curve.limit, color="black", linestyle=":", label="winding burns")
    right.set_xlabel("seconds from the start of a demand on a stuck valve")
    right.set_ylabel("winding, degC")
    right.set_title(f"Stall: {result.attempts} attempts", loc="left")
    right.legend(fontsize=8, frameon=True)
    return figure


def cost_by_interval(result: Sizing) -> Figure:
    """Return the cost a year against the exercise interval, with the flat stretch."""
    colours = sns.color_palette("colorblind")
    figure, (axes,) = blank(_WIDTH)
    curve = result.curve
    longest = max((row.interval for row in curve.rows if math.isfinite(row.interval)), default=_DAY)
    places = [
        (row.interval if math.isfinite(row.interval) else 3.0 * longest) / _DAY
        for row in curve.rows
    ]
    names = [
        duration(row.interval) if math.isfinite(row.interval) else "never" for row in curve.rows
    ]
    totals = [row.total for row in curve.rows]
    axes.fill_between(
        places,
        [e.low for e in totals],
        [e.high for e in totals],
        color=colours[0],
        alpha=0.18,
        label="95 % interval",
    )
    axes.plot(places, [e.value for e in totals], marker="o", color=colours[0], label="all costs")
    fixed = [curve.upkeep + row.wear for row in curve.rows]
    axes.plot(
        places, fixed, marker="^", linestyle="--", color=colours[1], label="upkeep and exercising"
    )
    at = {row.interval: place for row, place in zip(curve.rows, places, strict=True)}
    axes.axvspan(
        at[curve.flat[0]] * 0.94, at[curve.flat[1]] * 1.06, color=colours[2], alpha=0.25,
        label="within 2 % of the minimum", zorder=0,
    )  # fmt: skip
    axes.plot(
        [at[curve.best]],
        [min(e.value for e in totals)],
        marker="*",
        markersize=15,
        linestyle="",
        color="black",
        label="least",
    )
    axes.set_xscale("log")
    axes.set_xticks(places, names, fontsize=8)
    axes.minorticks_off()
    axes.set_ylim(0.0, None)
    axes.set_xlabel("exercise interval")
    axes.set_ylabel(f"{result.currency} a year")
    axes.set_title("Damage, upkeep and exercising, by exercise interval", loc="left")
    axes.legend(fontsize=8, frameon=True)
    return figure


FIGURES: dict[str, Callable[[Sizing], Figure]] = {
    "torque-over-years": torque_over_years,
    "probability-by-rating": probability_by_rating,
    "window": window_of_torque,
    "closing-and-stall": closing_and_stall,
    "cost-by-interval": cost_by_interval,
}


def draw_figures(result: Sizing) -> dict[str, Figure]:
    """Return all figures of a sizing by name."""
    return {name: drawing(result) for name, drawing in FIGURES.items()}
