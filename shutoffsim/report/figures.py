"""Figures: designs compared at a glance, in shapes as well as colours."""

from __future__ import annotations

import base64
import html
from collections.abc import Iterable, Mapping
from contextlib import ExitStack, suppress
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import seaborn as sns
from matplotlib.figure import Figure

from shutoffsim.errors import OutputError
from shutoffsim.report.files import OutputFile, refusal

if TYPE_CHECKING:
    pass

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
