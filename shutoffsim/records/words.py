"""Names and units as they are written in headers."""

from __future__ import annotations

import re
from functools import cache

from shutoffsim import units

#: Units as headers have them besides the spellings of :mod:`shutoffsim.units`.
_SPELLINGS = {
    **dict.fromkeys(["litre", "litres", "liter", "liters"], "L"),
    **dict.fromkeys(["millilitre", "millilitres", "milliliters"], "mL"),
    **dict.fromkeys(["cubic_metres", "cubic_meters"], "m3"),
    **dict.fromkeys(["gallon", "gallons"], "gal"),
    **dict.fromkeys(["sec", "secs"], "s"),
    **{"mins": "min", "hr": "h"},
}
_FLOWS = {
    **dict.fromkeys(["lpm", "l_min"], "L/min"),
    **dict.fromkeys(["lph", "l_h"], "L/h"),
    **{"l_s": "L/s", "gpm": "gal/min"},
}


def tidy(name: str) -> str:
    """Return a name without capital letters, blanks and brackets.

    Examples
    --------
    >>> tidy("Flow [L/min]")
    'flow_l_per_min'
    """
    lowered = name.lower().replace("³", "3").replace("·", "*").replace("/", "_per_")
    return re.sub(r"[\s\[\](){}.,:'\"_-]+", "_", lowered).strip("_")


def find_unit(text: str, dimension: str, *, running: bool = False) -> str | None:
    """Return the unit that a tidy text stands for, None when there is none.

    Parameters
    ----------
    text : str
    dimension : str
    running : bool
        Whether a time is one of running water, so that ``day`` is none.

    Examples
    --------
    >>> find_unit("m3_per_hr", "flow"), find_unit("litres", "volume"), find_unit("bar", "volume")
    ('m3/h', 'L', None)
    """
    if dimension == "flow":
        water, _, time = text.partition("_per_")
        parts = find_unit(water, "volume"), find_unit(time, "time", running=True)
        return f"{parts[0]}/{parts[1]}" if all(parts) else _FLOWS.get(text)
    unit = _spellings(dimension).get(text)
    long = running and dimension == "time" and unit and size(unit, "time") > 3600.0
    return None if long else unit


def size(unit: str, dimension: str) -> float:
    """Return a unit in litres, or else in SI; to 14 digits, as definitions are shorter."""
    found = units.parse(f"1 {unit}", dimension) * (1e3 if dimension == "volume" else 1.0)
    return float(f"{found:.14g}")


@cache
def _spellings(dimension: str) -> dict[str, str]:
    known = dict.fromkeys(units.units_of(dimension))
    extra = {text: unit for text, unit in _SPELLINGS.items() if unit in known}
    return extra | {tidy(unit): unit for unit in reversed(known)}
