"""Plots of results, on axes of one's own or on new ones; the commands' figures are the same."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import seaborn as sns
import seaborn.objects as so
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from shutoffsim.errors import ModelError
from shutoffsim.study.digits import amount

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from shutoffsim.study.comparison import Comparison

REFERENCE, OTHER = "reference", "design"
_ROW = 0.42  # inches
_GRID = {**sns.axes_style("whitegrid"), "axes.grid.axis": "x"}


def plot(result: Comparison, kind: str = "steps", axes: Axes | None = None) -> Axes:
    """Draw a comparison.

    Parameters
    ----------
    result : Comparison
        From :func:`shutoffsim.compare`.
    kind : {"steps", "damage", "unknowns"}
        What each step saves, costs and leaves; expected annual damage by design; what it would be
        worth to find out first (of a comparison over worlds).
    axes : matplotlib.axes.Axes, optional
        Where to draw; by default on a new figure of a fitting size.

    Returns
    -------
    matplotlib.axes.Axes
        Their ``figure`` can be saved.

    Raises
    ------
    ModelError
        There is no such kind, or the result has nothing to draw for it.
    """
    if kind not in PLOTS:
        raise ModelError("there is no such plot", found=f"{kind}"[:40], expected=", ".join(PLOTS))
    rows = {"steps": 1.5 * len(result.steps), "damage": len(result.designs)}.get(kind, 5)
    if kind == "steps" and not result.steps:
        raise ModelError("there is no step to draw", expected="two designs or more")
    if axes is None:
        axes = Figure(figsize=(8.0, 1.4 + _ROW * rows), layout="constrained").add_subplot()
    PLOTS[kind](result, axes)
    axes.set_ylabel("")
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.tick_params(axis="y", length=0)
    return axes


def figure_of(result: Comparison, kind: str) -> Figure:
    """Return a new figure with a plot on it."""
    figure = plot(result, kind).get_figure(root=True)
    assert isinstance(figure, Figure)
    return figure


def draw_damage(result: Comparison, axes: Axes) -> None:
    """Draw the expected annual damage of each design with its 95 % interval.

    Over worlds, a thin line is the range of nine worlds in ten. The reference is distinguished by
    the shape of its mark, its name and a line through its value, not by colour alone; the colours
    are of a palette that colour-blind people can distinguish.
    """
    rows: list[dict[str, Any]] = [
        {
            "design": textwrap.fill(design.name, 28),
            "role": REFERENCE if number == 0 else OTHER,
            "value": design.expected_annual_damage.value,
            "low": design.expected_annual_damage.low,
            "high": design.expected_annual_damage.high,
            "label": amount(
                design.expected_annual_damage.value, design.expected_annual_damage.error
            ),
        }
        for number, design in enumerate(result.designs)
    ]
    colours = sns.color_palette("colorblind")
    (
        so.Plot(pd.DataFrame(rows), y="design", x="value", color="role", marker="role")
        .add(so.Range(linewidth=2.5), xmin="low", xmax="high", legend=False)
        .add(so.Dot(pointsize=7), legend=False)
        .scale(
            color={REFERENCE: colours[7], OTHER: colours[0]},
            marker={REFERENCE: "s", OTHER: "o"},
        )
        .theme(_GRID)
        .on(axes)
        .plot()
    )
    known = " (bar: 95 % interval)"
    if result.worlds is not None:
        known = "\nbar: 95 % interval of the simulation; thin line: what is not known"
        for at, world in enumerate(result.worlds.designs):
            ends = world.expected_annual_damage
            axes.hlines(at, ends.p5, ends.p95, color="0.35", linewidth=0.8, zorder=1)
            rows[at]["high"] = max(float(rows[at]["high"]), ends.p95)
    for at, row in enumerate(rows):
        axes.annotate(
            str(row["label"]),
            (float(row["high"]), at),
            xytext=(8, 0),
            textcoords="offset points",
            va="center",
        )
    axes.axvline(rows[0]["value"], color=colours[7], linewidth=1.0, linestyle=":", zorder=0)
    most = max(float(row["high"]) for row in rows)
    axes.set_xlim(0.0, 1.12 * most if most > 0.0 else 1.0)
    axes.set_xlabel(f"expected annual water damage, {result.currency}{known}")
    axes.set_title(f"{result.scenario}: expected damage by design", loc="left")


def draw_steps(result: Comparison, axes: Axes) -> None:
    """Draw what each step saves, costs and leaves a year, with 95 % intervals."""
    kinds = {"saves": "saving", "costs": "cost_per_year", "net": "net_per_year"}
    rows = [
        {
            "step": textwrap.fill(step.design, 28)
            + "\n"
            + textwrap.fill(f"against “{step.against}”", 34),
            "kind": kind,
            "value": e.value,
            "low": e.low if np.isfinite(e.low) else e.value,
            "high": e.high if np.isfinite(e.high) else e.value,
        }
        for step in result.steps
        for kind, name in kinds.items()
        if (e := getattr(step, name)) is not None
    ]
    data = pd.DataFrame(rows)
    colours = sns.color_palette("colorblind")
    looks = {kind: (colours[at], "osD"[at]) for at, kind in enumerate(kinds)}
    (
        so.Plot(data, y="step", x="value", color="kind", marker="kind")
        .add(so.Range(linewidth=2.5), so.Dodge(), xmin="low", xmax="high", legend=False)
        .add(so.Dot(pointsize=6), so.Dodge(), legend=False)
        .scale(
            color={kind: colour for kind, (colour, _) in looks.items()},
            marker={kind: mark for kind, (_, mark) in looks.items()},
        )
        .theme(_GRID)
        .on(axes)
        .plot()
    )
    handles = [
        Line2D([], [], color=colour, marker=mark, linewidth=2.5, label=kind)
        for kind, (colour, mark) in looks.items()
        if kind in set(data["kind"])
    ]
    axes.axvline(0.0, color=colours[7], linewidth=1.0, linestyle=":", zorder=0)
    axes.set_xlabel(f"{result.currency} a year (bar: 95 % interval)")
    axes.set_title(f"{result.scenario}: what each step saves, costs and leaves", loc="left")
    axes.legend(  # below the axes, where it covers nothing
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(0.0, -0.55 / max(1.5 * _ROW * len(result.steps), 1.0)),
        ncols=len(handles),
        frameon=False,
    )


def draw_unknowns(result: Comparison, axes: Axes) -> None:
    """Draw what it would be worth a year to find out each of the first unknowns."""
    if result.worlds is None:
        raise ModelError("nothing was asked of what nobody knows", expected="worlds=128 or so")
    first = result.worlds.first
    if not first:
        raise ModelError("for this choice nothing is worth finding out")
    data = pd.DataFrame(
        {
            "key": [f"{each.key}\nnow {each.value}" for each in first],
            "worth": [each.worth_per_year for each in first],
        }
    )
    so.Plot(data, y="key", x="worth").add(so.Bar(width=0.6)).theme(_GRID).on(axes).plot()
    axes.set_xlabel(f"worth of knowing it before choosing, {result.currency} a year")
    axes.set_title(f"{result.scenario}: what to find out first", loc="left")


PLOTS = {"steps": draw_steps, "damage": draw_damage, "unknowns": draw_unknowns}
