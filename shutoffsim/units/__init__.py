"""Text with a unit to an SI number and back: the only place that knows units.

A unit library's text reader accepts far too much: it takes ``1,5 bar`` for 15 bar and
``1 000 h`` for zero without a word. So only ``NUMBER UNIT`` is read here, the number by a strict
pattern and the unit from a list per dimension; the library gave the factors in ``factors.json``.
"""

from __future__ import annotations

import difflib
import math
import re

from shutoffsim.errors import UnitError
from shutoffsim.units.dimensions import DIMENSIONS, MISTAKES, PLAIN, TIME_FOR_ANGLE
from shutoffsim.units.factors import line_of

__all__ = [
    "describe",
    "dimensions",
    "format",
    "parse",
    "parse_money",
    "split",
    "units_of",
    "write",
    "write_money",
]

NEVER_WORD = "never"
_LONGEST = 80
# In SI units; beyond it nothing is meant seriously and sums overflow.
_LARGEST = 1e18
_NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?")
_SIGNS = "€$£¥₽"


def dimensions() -> tuple[str, ...]:
    """Names of all dimensions.

    Examples
    --------
    >>> "torque" in dimensions()
    True
    """
    return tuple(DIMENSIONS)


def units_of(dimension: str) -> tuple[str, ...]:
    """Spellings of the units of a dimension.

    Parameters
    ----------
    dimension : str
        One of :func:`dimensions`.

    Examples
    --------
    >>> units_of("voltage")
    ('mV', 'V')
    """
    extra = tuple(TIME_FOR_ANGLE) if dimension == "speed" else ()
    return tuple(DIMENSIONS[dimension].units) + extra


def describe(dimension: str) -> str:
    """A dimension in words with an example, as used in error messages."""
    spec = DIMENSIONS[dimension]
    return f'{spec.name} such as "{spec.example}"'


def parse(text: str, dimension: str) -> float:
    """Read a text such as ``"2.4 N*m"`` as an SI number.

    Parameters
    ----------
    text : str
        ``NUMBER UNIT``; for shares and factors a number alone will do.
    dimension : str
        One of :func:`dimensions`.

    Returns
    -------
    float
        The value in the dimension's SI unit (temperatures in degrees Celsius, angles in turns,
        speeds in turns per second).

    Raises
    ------
    UnitError
        When the text is anything but a number with a listed unit.

    Examples
    --------
    >>> parse("25 kgf*cm", "torque")
    2.4516625
    >>> parse("3 bar", "pressure")
    300000.0
    """
    number, unit = _split(text, describe(dimension), plain=dimension in PLAIN)
    if unit == "" and dimension in PLAIN:
        return number
    if dimension == "speed" and unit in TIME_FOR_ANGLE:
        if number <= 0:
            raise _error(text, describe(dimension), "the time for a turn must be above zero")
        return TIME_FOR_ANGLE[unit] / number
    if unit not in DIMENSIONS[dimension].units:
        raise _error(text, describe(dimension), _unit_hint(unit, dimension))
    factor, offset = line_of(dimension, unit)
    value = number * factor + offset
    if abs(value) > _LARGEST:
        raise _error(text, describe(dimension), "the number is too large")
    return value


def parse_money(text: str, currency: str, *, per_area: bool = False) -> float:
    """Read an amount of money in one given currency.

    Parameters
    ----------
    text : str
        ``"120 EUR"``, or ``"60 EUR/m2"`` with `per_area`.
    currency : str
        The three capital letters that the text must use.
    per_area : bool
        Read money per area.

    Returns
    -------
    float
        The amount, per square metre with `per_area`.

    Raises
    ------
    UnitError
        When the text is anything else, or in another currency.

    Examples
    --------
    >>> parse_money("120 EUR", "EUR")
    120.0
    """
    tail = "/m2" if per_area else ""
    expected = f'an amount such as "120 {currency}{tail}"'
    number, unit = _split(text, expected)
    if per_area:
        code, slash, area = unit.partition("/")
        if code == currency and slash and area in DIMENSIONS["area"].units:
            return number / line_of("area", area)[0]
    elif unit == currency:
        return number
    hint = f'write the number and then "{currency}{tail}"'
    if re.fullmatch(r"[A-Z]{3}(/m2)?", unit) and unit[:3] != currency:
        hint = f"the scenario's currency is {currency}; amounts are not converted"
    elif any(sign in unit for sign in _SIGNS):
        hint = f'currency signs are not read; write "{_show(number)} {currency}{tail}"'
    raise _error(text, expected, hint)


def format(value: float, dimension: str) -> str:
    """Write an SI number in a friendly unit.

    Parameters
    ----------
    value : float
        In the dimension's SI unit, as :func:`parse` gives it.
    dimension : str
        One of :func:`dimensions`.

    Examples
    --------
    >>> format(7200.0, "time")
    '2 h'
    >>> format(2.4516625, "torque")
    '2.45 N*m'
    """
    if math.isinf(value):
        return NEVER_WORD if dimension == "time" else "no limit"
    if dimension in PLAIN:
        return _show(value)
    unit = _friendly(value, dimension)
    return f"{_show(_in_unit(value, dimension, unit))} {unit}"


def write(value: float, dimension: str, unit: str | None = None) -> str:
    """Write an SI number to six digits, so that :func:`parse` reads it again.

    Parameters
    ----------
    value : float
        In the dimension's SI unit, as :func:`parse` gives it.
    dimension : str
        One of :func:`dimensions`.
    unit : str, optional
        One of :func:`units_of`; by default a friendly one.

    Examples
    --------
    >>> write(7200.0, "time", "min")
    '120 min'
    """
    if math.isinf(value):
        return NEVER_WORD
    if unit is None:
        unit = "" if dimension in PLAIN else _friendly(value, dimension)
    unit = _tidy(unit)
    return f"{_in_unit(value, dimension, unit):.6g} {unit}".strip()


def write_money(value: float, unit: str) -> str:
    """Write an amount to six digits, so that :func:`parse_money` reads it again.

    Parameters
    ----------
    value : float
        The amount, per square metre where the unit is one per area.
    unit : str
        Such as ``EUR`` or ``EUR/m2``.

    Examples
    --------
    >>> write_money(60.0, "EUR/m2")
    '60 EUR/m2'
    """
    area = _tidy(unit).partition("/")[2]
    return f"{value * line_of('area', area)[0] if area else value:.6g} {unit}"


def split(text: str) -> tuple[str, str]:
    """Number and unit of a text as they are written; no number: the text and nothing.

    Examples
    --------
    >>> split("2.50 N*m")
    ('2.50', 'N*m')
    """
    match = _NUMBER.match(text)
    return (match.group(), text[match.end() :].strip()) if match else (text, "")


def _friendly(value: float, dimension: str) -> str:
    """The display unit that gives a number of usual size."""
    shown = DIMENSIONS[dimension].shown
    best = shown[0]
    for unit in shown[1:]:
        if abs(value) >= line_of(dimension, unit)[0] * (1 - 1e-12):
            best = unit
    usual = DIMENSIONS[dimension].example.partition(" ")[2]
    if value == 0 and usual in DIMENSIONS[dimension].units:
        best = usual
    return best


def _in_unit(value: float, dimension: str, unit: str) -> float:
    if unit == "":
        return value
    if dimension == "speed" and unit in TIME_FOR_ANGLE:
        return TIME_FOR_ANGLE[unit] / value
    factor, offset = line_of(dimension, unit)
    return (value - offset) / factor


def _show(number: float) -> str:
    if number != 0 and not 1e-3 <= abs(number) < 1e6:
        return f"{number:.3g}"
    digits = 0 if number == 0 else max(0, 2 - math.floor(math.log10(abs(number))))
    text = f"{number:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _split(text: str, expected: str, *, plain: bool = False) -> tuple[float, str]:
    """Number and tidied unit of a text."""
    if len(text) > _LONGEST:
        raise _error(text[:_LONGEST] + "...", expected, "the text is too long for a number")
    stripped = text.strip()
    match = _NUMBER.match(stripped)
    if match is None:
        raise _error(text, expected, _number_hint(stripped))
    number = float(match.group())
    if abs(number) > _LARGEST:
        raise _error(text, expected, "the number is too large")
    rest = stripped[match.end() :]
    unit = _tidy(rest)
    if unit == "" and not plain:
        raise _error(text, expected, "add the unit")
    if unit[:1] == "e" and unit[1:2].isdigit():
        raise _error(text, expected, "write powers of ten as in 1.2e3")
    return number, unit


def _tidy(unit: str) -> str:
    """A unit in the spelling of the lists."""
    unit = " ".join(unit.split())
    for other, mine in (("·", "*"), ("⋅", "*"), ("³", "3"), ("²", "2"), ("^", ""), ("**", "")):
        unit = unit.replace(other, mine)
    return re.sub(r"\s?([*/])\s?", r"\1", unit) if not unit.startswith("%") else unit


def _number_hint(text: str) -> str:
    if text == "":
        return "the text is empty"
    if text[0] in _SIGNS:
        return "currency signs are not read; write the number and then the currency's letters"
    if text[0] in "+":
        return "leave out the plus sign"
    if text[0] in "−–":
        return "write the minus sign as a plain hyphen: -5"
    if text[0] == ".":
        return "write a digit before the point: 0.5"
    if text[0] in "½¼¾⅓":
        return "write a fraction as a decimal number: 0.5"
    if re.search(r"[0-9]", text):
        return "write only the number and its unit, without other words or signs"
    return "write a number and its unit"


def _unit_hint(unit: str, dimension: str) -> str:
    for pattern, hint in MISTAKES:
        if re.search(pattern, unit):
            return hint
    if any(sign in unit for sign in _SIGNS):
        return "currency signs are not read; write the currency's three letters"
    known = units_of(dimension)
    for other in known:
        if other.lower() == unit.lower():
            return f'write the unit as "{other}" (capital letters matter)'
    for name, spec in DIMENSIONS.items():
        if name != dimension and unit in spec.units:
            return f'"{unit}" is for {spec.name}; units here: {", ".join(known)}'
    close = difflib.get_close_matches(unit, known, n=1)
    start = f'did you mean "{close[0]}"? ' if close else ""
    return f"{start}units here: {', '.join(known)}"


def _error(text: str, expected: str, hint: str) -> UnitError:
    return UnitError("this is not readable", found=f'"{text}"', expected=expected, hint=hint)
