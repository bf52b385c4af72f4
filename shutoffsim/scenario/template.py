"""Scenarios to start from."""

from __future__ import annotations

from importlib.resources import files
from typing import Final, Literal, get_args

Start = Literal["first", "terraced_house", "cottage", "clinic", "small_flat", "perfect"]
STARTS: Final[tuple[Start, ...]] = get_args(Start)
_FILES: Final[dict[Start, str]] = {"cottage": "holiday_cottage", "clinic": "clinic_above_shop"}


def starter(start: Start = "first") -> str:
    """Return a scenario to start from, with comments, as TOML text.

    Parameters
    ----------
    start : str
        ``first``: short, with what a first file needs; ``terraced_house``, ``cottage``, ``clinic``:
        the invented buildings of the documentation; ``small_flat``: a small stop valve and a
        position actuator; ``perfect``: nothing fails, for lessons and tests.

    Examples
    --------
    >>> from shutoffsim.scenario import loads
    >>> loads(starter()).reference
    'no automation'
    """
    name = _FILES.get(start, start)
    text = files("shutoffsim.scenario").joinpath("examples", f"{name}.toml")
    return text.read_text(encoding="utf-8")
