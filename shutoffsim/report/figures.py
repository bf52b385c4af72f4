"""Figures: designs compared at a glance, in shapes as well as colours."""

from __future__ import annotations

import base64
import html
import textwrap
from collections.abc import Iterable, Mapping
from contextlib import ExitStack, suppress
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import pandas as pd
import seaborn as sns
import seaborn.objects as so
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from shutoffsim.errors import OutputError
from shutoffsim.report.files import OutputFile, refusal
from shutoffsim.study.digits import amount

if TYPE_CHECKING:
    from shutoffsim.study.comparison import Comparison

REFERENCE, OTHER = "reference", "design"
KINDS = ("svg", "png")


def blank(width: float = 7.0, height: float = 4.4, panels: int = 1) -> tuple[Figure, list[Any]]:
    """Return an empty figure, inches, and its axes side by side."""
    with mpl.rc_context(sns.axes_style("whitegrid")):
        figure = Figure(figsize=(width, height), layout="constrained")
        axes = list(np.atleast_1d(figure.subplots(1, panels)))
    for each in axes:
        each.spines[["top", "right"]].set_visible(False)
    return figure, axes


def round_ticks(axes: Any, low: float, high: float) -> None:
    """Mark 1, 2 and 5 of each decade between two ends of a logarithmic horizontal axis."""
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    ticks = [c * 10.0**e for e in range(-3, 5) for c in (1.0, 2.0, 5.0)]
    shown = [tick for tick in ticks if low <= tick <= high]
    axes.set_xticks(shown, [f"{tick:g}" for tick in shown])
    axes.minorticks_off()


def forest(result: Comparison) -> Figure:
    """Return a forest plot: expected annual damage of each design with its 95 % interval.

    Over worlds, a thin line is the range of nine worlds in ten. The reference is distinguished by
    the shape of its mark, its name and a line through its value, not by colour alone; the colours
    are of a palette that colour-blind people can distinguish.

    Parameters
    ----------
    result : Comparison
        From :func:`shutoffsim.compare`.

    Returns
    -------
    matplotlib.figure.Figure
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
    data = pd.DataFrame(rows)
    colours = sns.color_palette("colorblind")
    figure = Figure(figsize=(8.0, 1.3 + 0.42 * len(rows)), layout="constrained")
    axes = figure.add_subplot()
    (
        so.Plot(data, y="design", x="value", color="role", marker="role")
        .add(so.Range(linewidth=2.5), xmin="low", xmax="high", legend=False)
        .add(so.Dot(pointsize=7), legend=False)
        .scale(
            color={REFERENCE: colours[7], OTHER: colours[0]},
            marker={REFERENCE: "s", OTHER: "o"},
        )
        .theme({**sns.axes_style("whitegrid"), "axes.grid.axis": "x"})
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
    axes.set_ylabel("")
    axes.set_title(f"{result.scenario}: expected damage by design", loc="left")
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.tick_params(axis="y", length=0)
    return figure


#: Names of the pictures of a comparison.
DAMAGE, STEPS = "expected-damage", "steps"


def steps_figure(result: Comparison) -> Figure:
    """Return what each step saves, costs and leaves a year, with 95 % intervals.

    Parameters
    ----------
    result : Comparison
        With two designs or more.

    Returns
    -------
    matplotlib.figure.Figure
    """
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
    figure = Figure(figsize=(8.0, 1.4 + 0.62 * len(result.steps)), layout="constrained")
    axes = figure.add_subplot()
    (
        so.Plot(data, y="step", x="value", color="kind", marker="kind")
        .add(so.Range(linewidth=2.5), so.Dodge(), xmin="low", xmax="high", legend=False)
        .add(so.Dot(pointsize=6), so.Dodge(), legend=False)
        .scale(
            color={kind: colour for kind, (colour, _) in looks.items()},
            marker={kind: mark for kind, (_, mark) in looks.items()},
        )
        .theme({**sns.axes_style("whitegrid"), "axes.grid.axis": "x"})
        .on(axes)
        .plot()
    )
    handles = [
        Line2D([], [], color=colour, marker=mark, linewidth=2.5, label=kind)
        for kind, (colour, mark) in looks.items()
        if kind in set(data["kind"])
    ]
    figure.legend(handles=handles, loc="outside lower center", ncols=len(handles), frameon=False)
    axes.axvline(0.0, color=colours[7], linewidth=1.0, linestyle=":", zorder=0)
    axes.set_xlabel(f"{result.currency} a year (bar: 95 % interval)")
    axes.set_ylabel("")
    axes.set_title(f"{result.scenario}: what each step saves, costs and leaves", loc="left")
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.tick_params(axis="y", length=0)
    return figure


def drawn(figure: Figure, kind: str) -> bytes:
    """Return a figure as ``svg`` or ``png``. Same figure, same bytes."""
    date = {"Date": None} if kind == "svg" else None
    content = BytesIO()
    with mpl.rc_context({"svg.hashsalt": "shutoffsim"}):
        figure.savefig(content, format=kind, dpi=150, metadata=date)
    return content.getvalue()


class Gallery:
    """Figures that a notebook shows one below the other.

    Parameters
    ----------
    figures : dict of str to matplotlib.figure.Figure
        By what they show, in words.
    """

    def __init__(self, figures: Mapping[str, Figure]) -> None:
        self.figures = dict(figures)

    def _repr_html_(self) -> str:
        return "".join(
            f'<img alt="{html.escape(name)}" style="max-width: 100%" '
            f'src="data:image/png;base64,{base64.b64encode(drawn(figure, "png")).decode()}">'
            for name, figure in self.figures.items()
        )


class FigureFolder:
    """A folder that gets all figures of a result, each as SVG and PNG, or none.

    Used as a context manager around the work: entering checks that every file can be written.

    Parameters
    ----------
    folder : pathlib.Path
        Is made where it is missing; the folder that it lies in must exist.
    names : iterable of str
        What the figures will be called.

    Raises
    ------
    OutputError
        On entry, when the folder cannot be made or a file cannot be written there.
    """

    def __init__(self, folder: Path, names: Iterable[str]) -> None:
        self.folder = folder
        self.names = tuple(names)
        self._stack = ExitStack()
        self._files: dict[str, OutputFile] = {}

    def __enter__(self) -> FigureFolder:
        with ExitStack() as stack:
            if self._make():
                stack.push(self._unmake)
            for name in self.names:
                for kind in KINDS:
                    path = self.folder / f"{name}.{kind}"
                    self._files[path.name] = stack.enter_context(OutputFile(path))
            self._stack = stack.pop_all()
        return self

    def _make(self) -> bool:
        """Make the folder if it is missing, and return whether it was."""
        if self.folder.is_dir():
            return False
        if not self.folder.parent.is_dir():
            raise OutputError(
                "there is no such folder",
                where=str(self.folder),
                found=str(self.folder.parent),
                expected="a place in a folder that exists, for the figures",
                hint="make it first, or check the spelling",
            )
        try:
            self.folder.mkdir()
        except OSError as error:
            raise refusal(str(self.folder), error) from None
        return True

    def _unmake(self, kind: type[BaseException] | None, *_rest: Any) -> None:
        """Remove the folder again when nothing came of it."""
        if kind is not None:
            with suppress(OSError):
                self.folder.rmdir()

    def write(self, figures: Mapping[str, Figure]) -> None:
        """Write all figures into their files."""
        for name in self.names:
            for kind in KINDS:
                self._files[f"{name}.{kind}"].write(drawn(figures[name], kind))

    def __exit__(self, *error: Any) -> None:
        self._stack.__exit__(*error)
