"""What a page is made of: sections of paragraphs, tables, pictures, lists and stories.

Everything here is plain text; the templates escape it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from markupsafe import Markup


@dataclass(frozen=True)
class Cell:
    """One cell of a table.

    Attributes
    ----------
    text : str
    note : str
        Stands below it, smaller: an interval, a unit.
    kind : {"text", "number", "design"}
        Numbers are set right; a design shows its letter.
    letter : str
        Of a design.
    number : int
        Place of the design among those drawn, for its colour; -1: none.
    strong : bool
        Whether it is what the row or table is about.
    """

    text: str
    note: str = ""
    kind: Literal["text", "number", "design"] = "text"
    letter: str = ""
    number: int = -1
    strong: bool = False


@dataclass(frozen=True)
class Table:
    """A table; the first cell of each row is its head.

    Attributes
    ----------
    caption : str
    heads : sequence of str
    rows : sequence of sequence of Cell
    wide : bool
        Whether cells hold long text, so that columns may not be narrow.
    """

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    wide: bool = False
    block: str = field(default="table", init=False)

    @property
    def dense(self) -> bool:
        """Whether there are so many columns that they must stand close."""
        return len(self.heads) > 7

    @property
    def numeric(self) -> tuple[bool, ...]:
        """Whether a column holds numbers."""
        return tuple(
            any(row[at].kind == "number" for row in self.rows) for at in range(len(self.heads))
        )


@dataclass(frozen=True)
class Picture:
    """A figure with what it shows in words and the table it is drawn from.

    Attributes
    ----------
    name : str
        Unique in the page.
    title, told : str
    svg : markupsafe.Markup
    table : Table
    designs : sequence of Cell
        What the letters in it stand for.
    note : str
        How to read it.
    """

    name: str
    title: str
    told: str
    svg: Markup
    table: Table
    designs: Sequence[Cell] = ()
    note: str = ""
    block: str = field(default="picture", init=False)


@dataclass(frozen=True)
class Words:
    """A paragraph."""

    text: str
    kind: Literal["", "note", "caution", "answer"] = ""
    block: str = field(default="words", init=False)


@dataclass(frozen=True)
class Points:
    """A list, with numbers where the order matters."""

    items: Sequence[str]
    ordered: bool = False
    title: str = ""
    block: str = field(default="points", init=False)


@dataclass(frozen=True)
class Facts:
    """Terms and what is said of each."""

    rows: Sequence[tuple[str, str]]
    title: str = ""
    block: str = field(default="facts", init=False)


@dataclass(frozen=True)
class Tiles:
    """The few figures that matter most.

    Attributes
    ----------
    rows : sequence of tuple
        What it is, its value with unit, and its interval or a remark.
    """

    rows: Sequence[tuple[str, str, str]]
    block: str = field(default="tiles", init=False)


@dataclass(frozen=True)
class Moment:
    """One line of a story: when, how long after the leak began, what happened, what followed."""

    when: str
    after: str
    what: str
    details: Sequence[str] = ()
    quiet: bool = False


@dataclass(frozen=True)
class Story:
    """One incident in order.

    Attributes
    ----------
    title : str
    design : Cell
    lead, end : str
        How things stood at its beginning, and its outcome.
    moments : sequence of Moment
    """

    title: str
    design: Cell
    lead: str
    moments: Sequence[Moment]
    end: str
    block: str = field(default="story", init=False)


@dataclass(frozen=True)
class Code:
    """Something to type or to keep."""

    text: str
    block: str = field(default="code", init=False)


@dataclass(frozen=True)
class Folded:
    """What is shown when it is asked for, and in print where ``printed``."""

    title: str
    inner: Sequence[Block]
    printed: bool = False
    block: str = field(default="folded", init=False)


Block = Table | Picture | Words | Points | Facts | Tiles | Story | Code | Folded


@dataclass(frozen=True)
class Section:
    """A part of the page.

    Attributes
    ----------
    name : str
        Unique in the page; the anchor.
    title : str
    blocks : sequence of Block
    """

    name: str
    title: str
    blocks: Sequence[Block]
