"""Figures that every design has: what they are called, their unit, and how a tally gives them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal, NamedTuple, get_type_hints

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.tally import Tally

Unit = Literal["money/year", "1/year", "1"]
Of = Callable[[Tally, int], Estimate]


class Figure(NamedTuple):
    """What is known of a figure.

    Attributes
    ----------
    of : callable
        Gives the estimate of a design, by its number in a tally.
    unit : str
        Of the scenario's money a year, a number a year, or a share.
    meaning : str
        What it says, for the page of results.
    label : str
        Its heading in tables that show every labelled figure; empty: it has a place of its own, or
        none.
    """

    of: Of
    unit: Unit
    meaning: str
    label: str = ""


def figures_of(kind: type[Any]) -> dict[str, Figure]:
    """Return the figures among the annotated fields of a class, by name, in their order."""
    return {
        name: known
        for name, hint in get_type_hints(kind, include_extras=True).items()
        for known in getattr(hint, "__metadata__", ())
        if isinstance(known, Figure)
    }


def yearly(number: int) -> Of:
    """Return what gives the yearly mean of a tally's figure that is never negative."""
    return lambda tally, design: tally.mean(design, number, 0.0)


def of_leaks(number: int) -> Of:
    """Return what gives the share of leaks that a tally's figure counts."""
    return lambda tally, design: tally.share(design, number)
