"""The figure of the summary: how likely a year is to cost more than an amount."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Final

import matplotlib as mpl
import numpy as np
import seaborn as sns
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, NullFormatter

from shutoffsim.study.assessment.loss_parts import YearlyLoss

_LEAST_CHANCE: Final = 5e-4
_STYLES: Final = (("--", 7), ("-", 0))  # line, and number of a colour that reads in grey as well


def draw_curves(curves: Sequence[tuple[str, YearlyLoss]], currency: str) -> Figure:
    """Return exceedance curves with their 95 % bands, distinguished by line style as well.

    Parameters
    ----------
    curves : sequence of tuple
        One or two, each what stands at it and the losses; the second is drawn solid.
    currency : str
        Of the amounts.
    """
    figure = Figure(figsize=(4.1, 2.75), layout="constrained")
    with sns.axes_style("whitegrid"), mpl.rc_context({"font.size": 8.5}):
        axes = figure.add_subplot()
        colours = sns.color_palette("colorblind")
        for (label, loss), (line, number) in zip(curves, _STYLES[-len(curves) :], strict=True):
            losses = np.array([point.loss for point in loss.curve], float)
            value, low, high = (
                np.array([getattr(point.aggregate, name) for point in loss.curve], float)
                for name in ("value", "low", "high")
            )
            shown = (losses > 0.0) & (value >= _LEAST_CHANCE)
            if not shown.any():
                continue
            axes.fill_between(
                losses[shown],
                np.clip(low[shown], _LEAST_CHANCE, 1.0),
                np.clip(high[shown], _LEAST_CHANCE, 1.0),
                color=colours[number],
                alpha=0.25,
                linewidth=0.0,
            )
            axes.plot(losses[shown], value[shown], line, color=colours[number], label=label)
        axes.set(xscale="log", yscale="log", ylim=(_LEAST_CHANCE, 1.0))
        axes.set_xlabel(f"losses of a year, {currency}")
        axes.set_ylabel("chance that a year costs more")
        axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:,.0f}"))
        axes.yaxis.set_major_formatter(FuncFormatter(lambda y, _: f"{100.0 * y:g} %"))
        axes.xaxis.set_minor_formatter(NullFormatter())
        axes.grid(visible=True, which="major", linewidth=0.4)
        if axes.get_lines():
            axes.legend(loc="best", frameon=False, handlelength=2.4)
        axes.spines[["top", "right"]].set_visible(False)
    return figure


def as_svg(figure: Figure) -> str:
    """Return a figure as SVG with letters drawn as outlines; same figure, same text."""
    drawn = BytesIO()
    with mpl.rc_context({"svg.hashsalt": "shutoffsim", "svg.fonttype": "path"}):
        figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None})
    return drawn.getvalue().decode()
