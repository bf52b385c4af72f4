"""The page's figures, drawn from plain numbers; designs go by letter, colour, shape and dashes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullFormatter

from shutoffsim.report.page.drawing import canvas
from shutoffsim.report.page.theme import DASHES, MARKERS, SERIES, drawn, series

if TYPE_CHECKING:
    from shutoffsim.study.assessment.upkeep_parts import TorqueAt

Format = Callable[[float], str]
_FAINT: Final = 0.16
_ROW: Final = 0.3  # inches
_LETTER: Final = 5.6  # points
_LETTER_WIDTH, _LETTER_HEIGHT = 0.045, 0.062  # shares of the axes


@dataclass(frozen=True)
class Range:
    """A row of a range plot.

    Attributes
    ----------
    label : str
        What stands beside the row: a short name, or a few words of this program.
    value, low, high : float
    said : str
        The value in honest digits.
    number : int
        Place of the design among those drawn; -1: not a design.
    far : tuple of float, optional
        A wider range, drawn as a thin line.
    """

    label: str
    value: float
    low: float
    high: float
    said: str
    number: int = -1
    far: tuple[float, float] | None = None


@dataclass(frozen=True)
class Line:
    """A curve.

    Attributes
    ----------
    letter : str
    number : int
        Place of the design among those drawn.
    x, y : sequence of float
        None or nan leaves a gap.
    low, high : sequence of float
        Interval of y; empty: not drawn.
    """

    letter: str
    number: int
    x: Sequence[float]
    y: Sequence[float]
    low: Sequence[float] = ()
    high: Sequence[float] = ()


def compact(value: float) -> str:
    """Return a tick label: few letters, no powers of ten.

    >>> compact(1500000.0), compact(20000.0), compact(0.25)
    ('1.5 M', '20 k', '0.25')
    """
    size = abs(value)
    for unit, least in (("T", 1e12), ("G", 1e9), ("M", 1e6), ("k", 1e4)):
        if size >= least:
            scale = 1e3 if unit == "k" else least
            return f"{value / scale:,.4g} {unit}"
    return f"{value:,.4g}"


def percent(value: float) -> str:
    """Return a share as a tick label.

    >>> percent(0.25), percent(0.001)
    ('25 %', '0.1 %')
    """
    return f"{100.0 * value:.4g} %"


def ranges(
    rows: Sequence[Range], label: str, *, line_at: float | None = None, zero: bool = True
) -> Figure:
    """Return one row per estimate: a mark at the value, a bar over its interval.

    Parameters
    ----------
    rows : sequence of Range
        From top to bottom.
    label : str
        Of the axis, with the unit.
    line_at : float, optional
        A vertical line, such as the reference's value.
    zero : bool
        Whether the axis must contain zero.
    """
    figure, axes = canvas(0.75 + _ROW * len(rows))
    for at, row in enumerate(rows):
        colour = drawn(series(row.number)) if row.number >= 0 else drawn("accent")
        marker = MARKERS[row.number % SERIES] if row.number >= 0 else "o"
        if row.far is not None:
            axes.plot(row.far, [at, at], color=colour, linewidth=0.9)
        if math.isfinite(row.low) and math.isfinite(row.high):
            axes.plot([row.low, row.high], [at, at], color=colour, linewidth=3.2)
        axes.plot([row.value], [at], marker=marker, color=colour, markersize=6.5, linestyle="")
    _value_column(axes, rows)
    if line_at is not None and math.isfinite(line_at):
        axes.axvline(line_at, color=drawn("soft"), linewidth=1.0, linestyle=(0, (1.0, 2.0)))
    ends = [
        end
        for row in rows
        for end in (row.value, row.low, row.high, *(row.far or ()))
        if math.isfinite(end)
    ]
    _span(axes, [*ends, 0.0] if zero else ends)
    _rows_down(axes, [row.label for row in rows], label)
    return figure


def _value_column(axes: Axes, rows: Sequence[Range]) -> None:
    """Write the values in a column at the right, where no bar can cover them."""
    room = 8.0 + _LETTER * max((len(row.said) for row in rows), default=0)
    for at, row in enumerate(rows):
        axes.annotate(
            row.said,
            (1.0, at),
            xycoords=("axes fraction", "data"),
            xytext=(room, 0),
            textcoords="offset points",
            ha="right",
            va="center",
            color=drawn("ink"),
            annotation_clip=False,
        )


def _rows_down(axes: Axes, names: Sequence[str], label: str) -> None:
    """Set the names of rows, from top to bottom, and what the axis below them is."""
    axes.set_yticks(range(len(names)), names)
    axes.set_xlabel(label)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.grid(axis="y", visible=False)
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", labelcolor=drawn("ink"))


def _span(axes: Axes, ends: Sequence[float]) -> None:
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    room = 0.04 * (high - low) or 1.0
    axes.set_xlim(low - (room if low < 0.0 else 0.0), high + room)
    axes.xaxis.set_major_locator(MaxNLocator(5))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: compact(x)))


def bars(rows: Sequence[tuple[str, float, float | None, str]], label: str) -> Figure:
    """Return horizontal bars, each with a diamond at a second value.

    Parameters
    ----------
    rows : sequence of tuple
        Words of this program, the bar's length, the diamond's place or None, and what is written
        behind it.
    label : str
        Of the axis, with the unit.
    """
    figure, axes = canvas(0.95 + _ROW * len(rows))
    for at, (_, length, mark, _) in enumerate(rows):
        axes.barh(at, length, height=0.55, color=drawn("series-1"), alpha=0.55, linewidth=0)
        if mark is not None and math.isfinite(mark):
            axes.plot([mark], [at], marker="D", color=drawn("ink"), markersize=5, linestyle="")
    plain = [Range(name, length, 0.0, length, said) for name, length, _, said in rows]
    _value_column(axes, plain)
    marks = [mark for _, _, mark, _ in rows if mark is not None and math.isfinite(mark)]
    _span(axes, [0.0, *marks, *(row[1] for row in rows)])
    _rows_down(axes, [row[0] for row in rows], label)
    return figure


def curves(
    lines: Sequence[Line],
    x_label: str,
    y_label: str,
    *,
    x_format: Format = compact,
    x_ticks: Sequence[tuple[float, str]] = (),
    y_log: bool = False,
    x_log: bool = True,
    y_format: Format = percent,
) -> Figure:
    """Return curves, each ending in its letter.

    Parameters
    ----------
    lines : sequence of Line
    x_label, y_label : str
        Of the axes, with units.
    x_format, y_format : callable
        Tick labels.
    x_ticks : sequence of tuple
        Places and labels of ticks; by default they are chosen.
    y_log, x_log : bool
        Whether an axis is logarithmic.
    """
    figure, axes = canvas(3.3)
    ends: list[tuple[float, float, Line]] = []
    for line in lines:
        x, y = np.asarray(line.x, float), np.asarray(line.y, float)
        shown = (
            np.isfinite(x) & np.isfinite(y) & ((y > 0.0) | (not y_log)) & ((x > 0) | (not x_log))
        )
        if not shown.any():
            continue
        colour, number = drawn(series(line.number)), line.number % SERIES
        if len(line.low):
            low, high = np.asarray(line.low, float)[shown], np.asarray(line.high, float)[shown]
            low = np.maximum(low, 0.1 * y[shown].min()) if y_log else low
            axes.fill_between(x[shown], low, high, color=colour, alpha=_FAINT, linewidth=0)
        axes.plot(
            x[shown],
            y[shown],
            color=colour,
            linewidth=1.8,
            linestyle=(0, DASHES[number]),
            marker=MARKERS[number],
            markersize=5,
            markevery=max(1, int(shown.sum()) // 5),
        )
        ends.append((float(x[shown][-1]), float(y[shown][-1]), line))
    _scales(axes, x_log, y_log)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: x_format(value)))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: y_format(value)))
    if x_ticks:
        low, high = axes.get_xlim()
        inside = [(place, text) for place, text in x_ticks if low <= place <= high]
        axes.set_xticks([place for place, _ in inside], [text for _, text in inside])
        axes.set_xlim(low, high)
    axes.set_xlabel(x_label)
    axes.set_title(y_label, loc="left", fontsize=9.5, color=drawn("soft"))
    _letters(axes, ends)
    return figure


def _scales(axes: Axes, x_log: bool, y_log: bool) -> None:
    if x_log:
        axes.set_xscale("log")
        axes.xaxis.set_major_locator(LogLocator(numticks=6))
        axes.xaxis.set_minor_formatter(NullFormatter())
    else:
        axes.xaxis.set_major_locator(MaxNLocator(6))
    if y_log:
        axes.set_yscale("log")
        axes.yaxis.set_major_locator(LogLocator(numticks=6))
        axes.yaxis.set_minor_formatter(NullFormatter())
    else:
        axes.set_ylim(bottom=0.0)


def _letters(axes: Axes, ends: Sequence[tuple[float, float, Line]]) -> None:
    """Write each curve's letter at its end, clear of the letters that already stand there."""
    low, high = axes.get_xlim()
    log = axes.get_xscale() == "log"
    axes.set_xlim(low, high * (high / low) ** 0.06 if log else high + 0.06 * (high - low))
    to_axes = axes.transData + axes.transAxes.inverted()
    placed: list[tuple[float, float]] = []
    spots = sorted(((*to_axes.transform((x, y)), line) for x, y, line in ends), key=lambda s: s[1])
    upper = [spot for spot in reversed(spots) if spot[1] > 0.5]
    lower = [spot for spot in spots if spot[1] <= 0.5]
    for across, start, line in (*lower, *upper):
        up, step = start, _LETTER_HEIGHT if start <= 0.5 else -_LETTER_HEIGHT
        for other_across, other_up in placed:
            if abs(other_across - across) < _LETTER_WIDTH and abs(up - other_up) < _LETTER_HEIGHT:
                up = other_up + step
        placed.append((across, up))
        axes.annotate(
            line.letter,
            (across, up),
            xycoords="axes fraction",
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            color=drawn(series(line.number)),
            fontweight="bold",
            annotation_clip=False,
        )


def tornado(rows: Sequence[tuple[str, float, float, str]], base: float, label: str) -> Figure:
    """Return how far a result moves when one assumption after the other goes over its range.

    Parameters
    ----------
    rows : sequence of tuple
        A few words, the result at the low and at the high end, and the text behind it.
    base : float
        The result as assumed.
    label : str
        Of the axis, with the unit.
    """
    figure, axes = canvas(0.95 + _ROW * len(rows))
    for at, (_, low, high, _) in enumerate(rows):
        for end, colour, shape in ((low, "series-1", "<"), (high, "series-2", ">")):
            if math.isfinite(end):
                axes.barh(
                    at,
                    end - base,
                    left=base,
                    height=0.5,
                    color=drawn(colour),
                    alpha=0.5,
                    linewidth=0,
                )
                axes.plot([end], [at], marker=shape, color=drawn(colour), markersize=6)
    axes.axvline(base, color=drawn("ink"), linewidth=1.0)
    ends = [end for _, low, high, _ in rows for end in (low, high) if math.isfinite(end)]
    _value_column(axes, [Range(name, 0.0, 0.0, 0.0, said) for name, _, _, said in rows])
    low, high = min([base, *ends]), max([base, *ends])
    room = 0.05 * (high - low) or 1.0
    axes.set_xlim(low - room, high + room)
    axes.xaxis.set_major_locator(MaxNLocator(4))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: compact(x)))
    _rows_down(axes, [row[0] for row in rows], label)
    return figure


def headroom(rows: Sequence[tuple[str, TorqueAt, str]]) -> Figure:
    """Return a bar of the torque needed for each labelled row, marks for what is available, and
    how often it falls short.
    """
    figure, axes = canvas(0.8 + 0.36 * len(rows))
    ends = [0.0]
    for at, (_, row, _) in enumerate(rows):
        median, p95, p99 = row.needed_median_n_m, row.needed_p95_n_m, row.needed_p99_n_m
        if median is not None and p95 is not None and p99 is not None:
            axes.barh(
                at, p99 - median, left=median, height=0.42, color=drawn("series-0"), alpha=0.55,
                linewidth=0,
            )  # fmt: skip
            axes.plot([p95, p95], [at - 0.21, at + 0.21], color=drawn("ink"), linewidth=1.4)
            ends.append(p99)
        for place, marker, colour in (
            (row.available_supply_n_m, "D", "series-1"),
            (row.available_weak_n_m, ">", "series-4"),
        ):
            axes.plot([place], [at], marker=marker, color=drawn(colour), markersize=7)
            ends.append(place)
    _span(axes, [end for end in ends if math.isfinite(end)])
    _value_column(axes, [Range(name, 0.0, 0.0, 0.0, said) for name, _, said in rows])
    _rows_down(axes, [label for label, _, _ in rows], "torque, N·m")
    return figure
