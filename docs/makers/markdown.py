"""What pages in Markdown have in common: tables, and a head that says what made them."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence


def table(
    names: Sequence[str], rows: Iterable[Sequence[str]], numbers: Container[str] = ()
) -> list[str]:
    """Return the lines of a table; columns named in ``numbers`` are set to the right.

    Examples
    --------
    >>> table(["what", "m"], [["hose", "2"]], numbers=["m"])
    ['| what | m |', '|---|---:|', '| hose | 2 |']
    """
    head = "".join(f" {name} |" if name else " |" for name in names)
    rule = "".join("---:|" if name in numbers else "---|" for name in names)
    return [f"|{head}", f"|{rule}", *map(row, rows)]


def row(cells: Sequence[str]) -> str:
    """Return a line of a table."""
    return f"| {' | '.join(cells)} |"


def cell(text: str) -> str:
    """Return a text on one line, without the bars that would end a cell."""
    return " ".join(text.split()).replace("|", "/")


def generated(part: str) -> str:
    """Return the first line of a page that nobody should edit."""
    return f"<!-- Made by python docs/refresh.py {part}; do not edit. -->"
