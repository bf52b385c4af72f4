"""What can go wrong, in a person's words.

Every error says where it was found, what was found, what was expected and what to do about it.
A command prints ``str(error)`` and ends with :attr:`ShutoffError.exit_code`; nobody needs to read
a traceback to learn that a comma should be a point.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

EXIT_BAD_INPUT = 2
LISTED_PROBLEMS = 20  # that are printed; the rest is counted
_LONGEST = 80  # letters of a text from a file that a message shows


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong.

    Parameters
    ----------
    message : str
        What is wrong, as a short sentence.
    where : str or None
        File (or other origin) of the input.
    key : str or None
        Dotted key inside that file.
    line : int or None
        Line number, counted from 1.
    found, expected, hint : str or None
        What was there, what should be there, and what to do.
    """

    message: str
    where: str | None = None
    key: str | None = None
    line: int | None = None
    found: str | None = None
    expected: str | None = None
    hint: str | None = None

    @property
    def place(self) -> str:
        """File, line and key as one piece of text (may be empty)."""
        parts = [] if self.where is None else [self.where]
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.key:
            parts.append(self.key)
        return ", ".join(parts)

    def __str__(self) -> str:
        head = f"{self.place}: {self.message}" if self.place else self.message
        rows = (("found", self.found), ("expected", self.expected), ("do", self.hint))
        return "\n".join([head, *(f"    {label:<9} {text}" for label, text in rows if text)])


class ShutoffError(Exception):
    """Base of all errors of this package that a person can do something about.

    Parameters
    ----------
    message : str
        What is wrong.
    where, found, expected, hint : str, optional
        Where it was found, what was found, what was expected and what to do.
    """

    exit_code = EXIT_BAD_INPUT

    def __init__(
        self,
        message: str,
        *,
        where: str | None = None,
        found: str | None = None,
        expected: str | None = None,
        hint: str | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.where = where
        self.found = found
        self.expected = expected
        self.hint = hint

    @property
    def as_problem(self) -> Problem:
        """What is wrong, as one problem."""
        return Problem(
            self.message,
            where=self.where,
            found=self.found,
            expected=self.expected,
            hint=self.hint,
        )

    def __str__(self) -> str:
        return str(self.as_problem)


class UnitError(ShutoffError):
    """A text is not a number with a unit of the wanted dimension."""


class ModelError(ShutoffError):
    """A calculation was asked for that the model cannot do."""


class OutputError(ShutoffError):
    """A result cannot be written where it was asked for."""


class ScenarioError(ShutoffError):
    """A scenario cannot be used; carries the problems found, not only the first.

    Parameters
    ----------
    problems : iterable of Problem
        At least one.
    unlisted : int
        Further ones of the same text that are counted only.
    """

    def __init__(self, problems: Iterable[Problem], unlisted: int = 0) -> None:
        self.problems = tuple(problems)
        self.unlisted = unlisted
        if not self.problems:
            raise ValueError("a ScenarioError needs at least one problem")
        first = self.problems[0]
        super().__init__(
            first.message,
            where=first.where,
            found=first.found,
            expected=first.expected,
            hint=first.hint,
        )

    def __str__(self) -> str:
        text = "\n".join(str(problem) for problem in self.problems[:LISTED_PROBLEMS])
        count = len(self.problems) + self.unlisted
        if count == 1:
            return text
        rest = count - min(len(self.problems), LISTED_PROBLEMS)
        more = f"\nand {rest:,} more" if rest else ""
        return f"{count:,} problems\n{text}{more}"

    def __reduce__(self) -> tuple[type[ScenarioError], tuple[tuple[Problem, ...], int]]:
        return type(self), (self.problems, self.unlisted)


class RecordError(ScenarioError):
    """A file of what was measured, or of dwellings, cannot be used; carries all problems found."""

    @classmethod
    def of(cls, message: str, where: str | None = None, **more: Any) -> RecordError:
        """Return the error of one problem; the arguments are those of :class:`Problem`."""
        return cls([Problem(message, where, **more)])


def complain(problems: Iterable[Problem], unlisted: int = 0) -> None:
    """Raise all problems of a file as one :class:`RecordError`, if there are any."""
    told = tuple(problems)
    if told:
        raise RecordError(told, unlisted)


def printable(text: str) -> str:
    """Return a text from a file, harmless for a terminal: no control signs, not too long.

    Examples
    --------
    >>> printable("a\x1b[31mb")
    'a?[31mb'
    """
    return "".join(sign if sign.isprintable() else "?" for sign in text[:_LONGEST])


class PrecisionWarning(UserWarning):
    """A result is less precise than was asked for."""


class RareEventWarning(UserWarning):
    """A result rests on so few events that its interval cannot be trusted."""
