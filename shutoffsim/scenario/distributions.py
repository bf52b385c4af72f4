"""Distributions in a practitioner's words.

A value that varies is written as a plain text (fixed) or as a small table, and kept here as a
kind and up to three SI numbers. The kinds are those of :mod:`shutoffsim.model.quantiles`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import NamedTuple

from shutoffsim.errors import UnitError

# Standard normal quantile at 95 %, for ranges given as 5 % to 95 %.
_Z95 = 1.6448536269514722

#: Ways to write a distribution: the keys of the table, and what it means.
FORMS: dict[tuple[str, ...], str] = {
    ("median", "spread"): "log-normal; 68 % lie between median/spread and median*spread",
    ("least", "median", "spread"): "log-normal above least: what exceeds least is log-normal, "
    "with this spread",
    ("low", "high"): 'log-normal with 5 % below low and 5 % above high; shape = "even": '
    "evenly between low and high",
    ("mean",): "exponential",
    ("mean", "spread"): "log-normal by its mean",
    ("least", "likely", "most"): "triangular",
    ("life", "shape"): "Weibull; 63 % are over by life",
}


class Distribution(NamedTuple):
    """A distribution of an SI quantity.

    Parameters
    ----------
    kind : str
        ``fixed`` (a: value), ``uniform`` (a: low, b: high), ``lognormal`` (a: log of the median
        above c, b: log standard deviation, c: least value), ``exponential`` (a: mean),
        ``weibull`` (a: shape, b: scale) or ``triangular`` (a: least, b: likely, c: most).
    a, b, c : float
        See `kind`; unused ones are zero.
    """

    kind: str
    a: float
    b: float = 0.0
    c: float = 0.0

    @property
    def mean(self) -> float:
        """Mean, in the SI unit of the quantity.

        Examples
        --------
        >>> Distribution("triangular", 1.0, 2.0, 6.0).mean
        3.0
        """
        match self.kind:
            case "uniform":
                return (self.a + self.b) / 2
            case "lognormal":
                return self.c + math.exp(self.a + self.b**2 / 2)
            case "weibull":
                return self.b * math.gamma(1 + 1 / self.a)
            case "triangular":
                return (self.a + self.b + self.c) / 3
        return self.a

    @property
    def least(self) -> float:
        """Lower end of the values it can take."""
        if self.kind in ("fixed", "uniform", "triangular"):
            return self.a
        return self.c if self.kind == "lognormal" else 0.0

    @property
    def most(self) -> float:
        """Upper end of the values it can take, infinite for open-ended kinds."""
        ends = {"fixed": self.a, "uniform": self.b, "triangular": self.c}
        return ends.get(self.kind, math.inf)

    def moved(self, change: Callable[[float], float]) -> Distribution:
        """Distribution with its middle or its ends put elsewhere, its width kept.

        Parameters
        ----------
        change : callable
            Where a value goes; of an open-ended kind the middle, which must stay above zero.

        Examples
        --------
        >>> Distribution("uniform", 1.0, 2.0).moved(lambda x: 2 * x)
        Distribution(kind='uniform', a=2.0, b=4.0, c=0.0)
        """
        match self.kind:
            case "lognormal":
                least = change(self.c) if self.c else 0.0
                middle = change(self.c + math.exp(self.a))
                return self._replace(a=math.log(middle - least), c=least)
            case "weibull":
                return self._replace(b=change(self.b))
            case "uniform":
                return self._replace(a=change(self.a), b=change(self.b))
            case "triangular":
                return self._replace(a=change(self.a), b=change(self.b), c=change(self.c))
        return self._replace(a=change(self.a))

    def power(self, factor: float, exponent: float) -> Distribution:
        """Distribution of ``factor * x**exponent``, for fixed and log-normal values only.

        Raises
        ------
        ValueError
            For other kinds, which would not keep their shape.
        """
        if self.kind == "fixed":
            return Distribution("fixed", factor * self.a**exponent)
        if self.kind == "lognormal" and self.c == 0.0:
            mu = math.log(factor) + exponent * self.a
            return Distribution("lognormal", mu, exponent * self.b)
        raise ValueError(f"a {self.kind} value keeps no simple shape under a power")


def read(raw: object, number: Callable[[object], float]) -> Distribution:
    """Read a plain value or a table as a distribution.

    Parameters
    ----------
    raw : object
        What stands in the file.
    number : callable
        Reads one value of the quantity, in SI.

    Raises
    ------
    UnitError
        When the table is of no known form or its numbers do not fit together.

    Examples
    --------
    >>> read({"least": 1.0, "likely": 2.0, "most": 6.0}, float)
    Distribution(kind='triangular', a=1.0, b=2.0, c=6.0)
    """
    if not isinstance(raw, Mapping):
        return Distribution("fixed", number(raw))
    keys = set(raw)
    if keys == {"median", "spread"}:
        return _lognormal(math.log(_positive(raw, "median", number)), _spread(raw))
    if keys == {"least", "median", "spread"}:
        least, median = _finite(raw, "least", number), _finite(raw, "median", number)
        if least < 0.0 or median <= least:
            raise _bad(_text(raw), "least from zero on and below the median")
        return _lognormal(math.log(median - least), _spread(raw), least)
    if keys == {"mean", "spread"}:
        sigma = _spread(raw)
        return _lognormal(math.log(_positive(raw, "mean", number)) - sigma**2 / 2, sigma)
    if keys == {"mean"}:
        return Distribution("exponential", _positive(raw, "mean", number))
    if keys == {"life", "shape"}:
        shape = _plain(raw, "shape")
        if not 0.1 <= shape <= 20:
            raise _bad(f"shape = {shape:g}", "a shape between 0.1 and 20")
        return Distribution("weibull", shape, _positive(raw, "life", number))
    if keys == {"least", "likely", "most"}:
        least, likely, most = (_finite(raw, key, number) for key in ("least", "likely", "most"))
        if not least <= likely <= most:
            raise _bad(_text(raw), "least <= likely <= most")
        return _between("triangular", least, likely, most)
    if keys in ({"low", "high"}, {"low", "high", "shape"}):
        return _range(raw, number)
    raise _bad(_text(raw) or "an empty table", _forms(), "use the keys of one form only")


def write(value: Distribution, form: tuple[str, ...] = ()) -> dict[str, float | str]:
    """Return a distribution that is not fixed as a table of SI numbers.

    Parameters
    ----------
    value : Distribution
    form : tuple of str
        Keys to use, where they can say it: one of :data:`FORMS`.

    Examples
    --------
    >>> write(Distribution("exponential", 60.0))
    {'mean': 60.0}
    """
    a, b, c = value[1:]
    match value.kind:
        case "uniform":
            return {"low": a, "high": b, "shape": "even"}
        case "exponential":
            return {"mean": a}
        case "weibull":
            return {"life": b, "shape": a}
        case "triangular":
            return {"least": a, "likely": b, "most": c}
    if c != 0.0:
        return {"least": c, "median": c + math.exp(a), "spread": math.exp(b)}
    if set(form) == {"low", "high"}:
        return {"low": math.exp(a - _Z95 * b), "high": math.exp(a + _Z95 * b)}
    if set(form) == {"mean", "spread"}:
        return {"mean": value.mean, "spread": math.exp(b)}
    return {"median": math.exp(a), "spread": math.exp(b)}


def check(value: Distribution) -> Distribution:
    """Return a distribution that is not fixed and whose numbers fit together.

    Raises
    ------
    UnitError
        When they do not.
    """
    a, b, c = value[1:]
    sound = {
        "uniform": a < b,
        "lognormal": b > 0 and c >= 0,
        "exponential": a > 0,
        "weibull": 0.1 <= a <= 20 and b > 0,
        "triangular": a <= b <= c and a < c,
    }
    if not (sound.get(value.kind, False) and all(map(math.isfinite, (a, b, c)))):
        raise _bad(str(tuple(value)), "a kind and numbers that fit, see Distribution")
    return value


def _range(raw: Mapping[str, object], number: Callable[[object], float]) -> Distribution:
    low, high = _finite(raw, "low", number), _finite(raw, "high", number)
    if low > high:
        raise _bad(_text(raw), "low below high", "swap them")
    if "shape" in raw:
        if raw["shape"] != "even":
            raise _bad(f"shape = {raw['shape']!r}", 'shape = "even", or no shape for log-normal')
        return _between("uniform", low, high)
    if low <= 0:
        raise _bad(_text(raw), "low above zero", 'add shape = "even" for a range that reaches zero')
    return _lognormal(
        (math.log(low) + math.log(high)) / 2, (math.log(high) - math.log(low)) / (2 * _Z95)
    )


def _between(kind: str, least: float, *others: float) -> Distribution:
    if least == others[-1]:
        return Distribution("fixed", least)
    return Distribution(kind, least, *others)


def _lognormal(mu: float, sigma: float, least: float = 0.0) -> Distribution:
    if sigma == 0:
        return Distribution("fixed", least + math.exp(mu))
    return Distribution("lognormal", mu, sigma, least)


def _plain(raw: Mapping[str, object], key: str) -> float:
    value = raw[key]
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not _is_finite(value):
        hint = f"write {key} = 2 without quotes"
        raise _bad(f"{key} = {str(value)[:60]!r}", "a plain number", hint)
    return float(value)


def _is_finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:
        return False


def _spread(raw: Mapping[str, object]) -> float:
    spread = _plain(raw, "spread")
    if not 1 <= spread <= 100:
        raise _bad(
            f"spread = {spread:g}",
            "a factor between 1 and 100",
            "1.5 means that two thirds of the values lie within a factor of 1.5 of the median",
        )
    return math.log(spread)


def _finite(raw: Mapping[str, object], key: str, number: Callable[[object], float]) -> float:
    value = number(raw[key])
    if not math.isfinite(value):
        raise _bad(f"{key} = {str(raw[key])[:60]!r}", "a finite value")
    return value


def _positive(raw: Mapping[str, object], key: str, number: Callable[[object], float]) -> float:
    value = _finite(raw, key, number)
    if value <= 0:
        found = f"{key} = {str(raw[key])[:60]!r}"
        raise _bad(found, f"{key} above zero", "write a plain value for a fixed zero")
    return value


def _text(raw: Mapping[str, object]) -> str:
    return ", ".join(f"{key} = {str(value)[:40]}" for key, value in raw.items())[:160]


def _forms() -> str:
    return "one of " + "; ".join("{" + ", ".join(keys) + "}" for keys in FORMS)


def _bad(found: str, expected: str, hint: str | None = None) -> UnitError:
    return UnitError("these numbers do not fit", found=found, expected=expected, hint=hint)
