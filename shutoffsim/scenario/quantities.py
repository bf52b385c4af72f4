"""Types of the values in a scenario file: text on the outside, SI numbers inside.

Each class is put into ``Annotated[...]`` of a schema field. It reads what stands in the file,
checks its range, and describes itself for the JSON Schema.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from shutoffsim import units
from shutoffsim.errors import UnitError
from shutoffsim.scenario import distributions
from shutoffsim.scenario.distributions import Distribution

# In SI units; anything closer to a limit than this counts as the limit.
_SMALLEST = 1e-15
_NUMBER_PATTERN = r"-?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?"


def refuse(error: UnitError) -> PydanticCustomError:
    """Wrap an error so that the schema reports it with its place."""
    return PydanticCustomError(
        "value",
        "{message}",
        {
            "message": error.message,
            "found": error.found,
            "expected": error.expected,
            "hint": error.hint,
        },
    )


@dataclass(frozen=True)
class Given:
    """A value that a program gives where a file has a text or a table.

    Parameters
    ----------
    value : float, Distribution or Capacity
        In SI; a distribution that is not fixed.
    written : object
        The same to six digits as it would stand in a file, to be shown.
    """

    value: Any
    written: Any


def as_written(raw: Any) -> Any:
    """Return what stands somewhere as it is shown."""
    return raw.written if isinstance(raw, Given) else raw


class Value:
    """Base: connects ``read`` and ``describe`` to the schema library."""

    #: Kind of quantity, of which there may be more or less.
    dimension: str

    def read(self, raw: object) -> Any:
        """Read what stands in the file; raise UnitError when it is not right."""
        raise NotImplementedError

    def read_in(self, raw: object, context: Mapping[str, Any]) -> Any:
        """Read with what is known of the whole scenario (its currency)."""
        del context  # only money needs it
        return self.read(raw)

    def write(self, value: Any, like: object = None) -> Any:
        """Return a value to six digits as it would stand in a file.

        Parameters
        ----------
        value : object
            As :meth:`read` gives it.
        like : object
            What stands in a file; its units and its way to write a distribution are taken.
        """
        raise NotImplementedError

    def describe(self) -> dict[str, Any]:
        """Return the JSON Schema of the value."""
        raise NotImplementedError

    def words(self) -> str:
        """The kind of value, for the reference page."""
        raise NotImplementedError

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        def validate(raw: object, info: core_schema.ValidationInfo) -> Any:
            try:
                return self.read_in(raw, info.context or {})
            except UnitError as error:
                raise refuse(error) from None

        return core_schema.with_info_plain_validator_function(validate)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return self.describe()


@dataclass(frozen=True)
class Quantity(Value):
    """One number with a unit.

    Parameters
    ----------
    dimension : str
        See :func:`shutoffsim.units.dimensions`.
    low, high : float
        Least and greatest value allowed, SI.
    above : float or None
        The value must be greater than this, SI.
    never : bool
        The word "never" is allowed and means an infinite value.
    why : str
        Why it may not be less than `low`, where that is not plain.
    """

    dimension: str
    low: float = -math.inf
    high: float = math.inf
    above: float | None = None
    never: bool = False
    why: str = ""

    def read(self, raw: object) -> float:
        """Read one value and check its range."""
        value = self.number(raw)
        self.check(value, value, raw)
        return value

    def number(self, raw: object) -> float:
        """Read one value, whatever its range."""
        expected = units.describe(self.dimension)
        if self.never and raw == "never":
            return math.inf
        if isinstance(raw, str):
            return units.parse(raw, self.dimension)
        if isinstance(raw, Given):
            if math.isfinite(raw.value) or (self.never and raw.value == math.inf):
                return float(raw.value)
            raise UnitError("not a usable number", found=_shorten(raw), expected=expected)
        if isinstance(raw, (int, float)) and not isinstance(raw, bool):
            if self.dimension not in ("share", "factor"):
                raise UnitError(
                    "a number without a unit",
                    found=str(raw)[:60],
                    expected=f"{expected} in quotes",
                    hint="add the unit and quotes",
                )
            if math.isfinite(raw) if isinstance(raw, float) else abs(raw) < 10**15:
                return float(raw)
            raise UnitError("not a usable number", found=str(raw)[:60], expected=expected)
        raise UnitError("the wrong kind of value", found=_kind(raw), expected=expected)

    def check(self, least: float, most: float, raw: object) -> None:
        """Check that values from `least` to `most` are allowed."""
        shown = _shorten(raw)
        if self.above is not None and least < self.above + _SMALLEST:
            limit = units.format(self.above, self.dimension)
            raise UnitError("out of range", found=shown, expected=f"above {limit}")
        if least < self.low:
            limit = units.format(self.low, self.dimension)
            message = f"out of range: {self.why}" if self.why else "out of range"
            hint = None
            if least < most and self.low > 0.0 and math.isinf(self.high):
                hint = f"write {{least = {limit}, median = ..., spread = ...}}: log-normal above it"
            raise UnitError(message, found=shown, expected=f"at least {limit}", hint=hint)
        if most > self.high and not (self.never and math.isinf(most)):
            limit = units.format(self.high, self.dimension)
            raise UnitError("out of range", found=shown, expected=f"at most {limit}")

    def write(self, value: Any, like: object = None) -> Any:
        """Return a value to six digits as it would stand in a file."""
        if self.dimension in ("share", "factor") and not isinstance(like, str):
            return float(f"{value:.6g}")
        unit = units.split(like)[1] if isinstance(like, str) else None
        return units.write(value, self.dimension, unit or None)

    def describe(self) -> dict[str, Any]:
        """Return the JSON Schema of the value."""
        return self._one()

    def _one(self) -> dict[str, Any]:
        choices = "|".join(
            re.sub(r"([.*/()%^])", r"\\\1", unit) for unit in units.units_of(self.dimension)
        )
        text = {
            "type": "string",
            "pattern": f"^{_NUMBER_PATTERN} ?({choices})$" + ("|^never$" if self.never else ""),
            "examples": [units.describe(self.dimension).split('"')[1]],
        }
        if self.dimension in ("share", "factor"):
            return {"anyOf": [{"type": "number"}, {**text, "pattern": f"^{_NUMBER_PATTERN} ?%?$"}]}
        return text

    def words(self) -> str:
        """Say what is expected, for the reference page."""
        text = f"{self.dimension}, as `{units.describe(self.dimension).split(chr(34))[1]}`"
        return text + (" or `never`" if self.never else "")


@dataclass(frozen=True)
class Spread(Quantity):
    """A distribution of a quantity, or one fixed value; the limits hold for its range.

    Parameters
    ----------
    mean_low : float
        Least mean allowed, SI.

    Log-normal, exponential and Weibull values reach from zero to any height, so they are
    refused where `high` is set.
    """

    mean_low: float = -math.inf

    def read(self, raw: object) -> Distribution:  # type: ignore[override]
        """Read a value or a table and check the range it covers."""
        if isinstance(raw, Given) and isinstance(raw.value, Distribution):
            found = distributions.check(raw.value)
        else:
            found = distributions.read(raw, self.number)
        if found.mean < self.mean_low:
            limit = units.format(self.mean_low, self.dimension)
            raise UnitError("out of range", found=_shorten(raw), expected=f"a mean from {limit} on")
        if found.kind == "fixed":
            self.check(found.a, found.a, raw)
            return found
        if math.isinf(found.most) and math.isfinite(self.high):
            raise UnitError(
                "a distribution without an upper end",
                found=_shorten(raw),
                expected=f"values up to {units.format(self.high, self.dimension)} only",
                hint='use {low = ..., high = ..., shape = "even"} or {least, likely, most}',
            )
        # An open-ended distribution takes its least value with no probability.
        lower = found.least
        if math.isinf(found.most) and self.above is not None and lower >= self.above:
            lower = math.inf
        self.check(lower, found.most, raw)
        return found

    def write(self, value: Any, like: object = None) -> Any:
        """Return a distribution to six digits as it would stand in a file."""
        if not isinstance(value, Distribution):
            return super().write(value, like)
        if value.kind == "fixed":
            return super().write(value.a, like)
        keys = like if isinstance(like, Mapping) else {}
        table: dict[str, Any] = distributions.write(value, tuple(keys))
        for key, number in table.items():
            if key in ("spread", "shape"):
                table[key] = number if isinstance(number, str) else float(f"{number:.6g}")
            else:
                table[key] = super().write(number, keys.get(key))
        return table

    def describe(self) -> dict[str, Any]:
        """Return the JSON Schema of the value."""
        one = self._one()
        number = {"type": "number"}
        plain = {"spread": number}
        tables = []
        for keys in distributions.FORMS:
            properties: dict[str, Any] = {key: plain.get(key, one) for key in keys}
            if "low" in keys:
                properties["shape"] = {"const": "even"}
            if "life" in keys:
                properties["shape"] = number
            tables.append(
                {
                    "type": "object",
                    "properties": properties,
                    "required": list(keys),
                    "additionalProperties": False,
                }
            )
        name = f"varying {self.dimension}" + (" or never" if self.never else "")
        return {"x-shared": name.replace(" ", "-"), "anyOf": [one, *tables]}

    def words(self) -> str:
        """Say what is expected, for the reference page."""
        return super().words() + ", or a distribution"


class Capacity(NamedTuple):
    """A battery's content: joules, or coulombs that its voltage turns into joules."""

    joules: float
    coulombs: float


@dataclass(frozen=True)
class BatteryCapacity(Value):
    """A battery's content in Wh, or in Ah."""

    dimension = "energy"

    def read(self, raw: object) -> Capacity:
        """Read an energy or a charge."""
        expected = 'an energy such as "20 Wh" or a charge such as "2.6 Ah"'
        if isinstance(raw, Given):
            content = raw.value if isinstance(raw.value, Capacity) else Capacity(raw.value, 0.0)
            if min(content) >= 0.0 and math.isfinite(max(content)):
                return content
            raise UnitError("out of range", found=_shorten(raw), expected="at least 0 Wh")
        if not isinstance(raw, str):
            raise UnitError("the wrong kind of value", found=_kind(raw), expected=expected)
        is_charge = raw.strip().endswith("Ah")
        value = units.parse(raw, "charge" if is_charge else "energy")
        if value < 0:
            raise UnitError("out of range", found=raw, expected="at least 0 Wh")
        return Capacity(0.0, value) if is_charge else Capacity(value, 0.0)

    def write(self, value: Any, like: object = None) -> Any:
        """Return a content to six digits as it would stand in a file."""
        value = value if isinstance(value, Capacity) else Capacity(value, 0.0)
        is_charge = value.coulombs > 0.0
        unit = "Ah" if is_charge else "Wh"
        if isinstance(like, str) and like.strip().endswith("Ah") == is_charge:
            unit = units.split(like)[1]
        return units.write(max(value), "charge" if is_charge else "energy", unit)

    def describe(self) -> dict[str, Any]:
        """Return the JSON Schema of the value."""
        return {
            "type": "string",
            "pattern": f"^{_NUMBER_PATTERN} ?[a-zA-Z]+$",
            "examples": ["20 Wh", "2.6 Ah"],
        }

    def words(self) -> str:
        """Say what is expected, for the reference page."""
        return "energy or charge, as `20 Wh` or `2.6 Ah`"


@dataclass(frozen=True)
class Money(Value):
    """An amount in the scenario's currency, not negative.

    Parameters
    ----------
    per_area : bool
        Money per area.
    never : bool
        "no limit" is allowed and means an infinite amount.
    """

    per_area: bool = False
    no_limit: bool = False
    dimension = "money"

    def read_in(self, raw: object, context: Mapping[str, Any]) -> float:
        """Read an amount in the scenario's currency."""
        currency = context.get("currency", "EUR")
        if self.no_limit and raw == "no limit":
            return math.inf
        if isinstance(raw, Given):
            if 0.0 <= raw.value < math.inf or (self.no_limit and raw.value == math.inf):
                return float(raw.value)
            raise UnitError("out of range", found=_shorten(raw), expected="at least 0")
        if not isinstance(raw, str):
            tail = "/m2" if self.per_area else ""
            raise UnitError(
                "money without a currency" if isinstance(raw, (int, float)) else "the wrong kind",
                found=_kind(raw),
                expected=f'an amount such as "120 {currency}{tail}"',
                hint=f'add "{currency}{tail}" and quotes',
            )
        value = units.parse_money(raw, currency, per_area=self.per_area)
        if value < 0:
            raise UnitError("out of range", found=raw, expected="at least 0")
        return value

    def write(self, value: Any, like: object = None) -> Any:
        """Return an amount to six digits as it would stand in a file."""
        if math.isinf(value):
            return "no limit"
        unit = units.split(like)[1] if isinstance(like, str) else ""
        return units.write_money(value, unit or ("money/m2" if self.per_area else "money"))

    def describe(self) -> dict[str, Any]:
        """Return the JSON Schema of the value."""
        tail = "/(m2|ft2)" if self.per_area else ""
        end = "|^no limit$" if self.no_limit else ""
        return {
            "type": "string",
            "pattern": f"^{_NUMBER_PATTERN} ?[A-Z]{{3}}{tail}$" + end,
            "examples": ["120 EUR/m2" if self.per_area else "120 EUR"],
        }

    def words(self) -> str:
        """Say what is expected, for the reference page."""
        text = "money per area, as `120 EUR/m2`" if self.per_area else "money, as `120 EUR`"
        return text + (" or `no limit`" if self.no_limit else "")


def _kind(raw: object) -> str:
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, (int, float)):
        return str(raw)[:60]
    if isinstance(raw, Given):
        return _shorten(raw)
    if isinstance(raw, (dict, list, str)):
        return {dict: "a table", list: "a list", str: "a text"}[type(raw)]
    return f"a {type(raw).__name__}"


def _shorten(raw: object) -> str:
    if isinstance(raw, Given):
        return _shorten(raw.written)
    if isinstance(raw, Mapping):
        return ", ".join(f"{key} = {value}" for key, value in raw.items())[:160]
    return f'"{raw}"'[:160] if isinstance(raw, str) else str(raw)[:160]


@dataclass(frozen=True)
class PresetName(Value):
    """The name of a set of values in the library of defaults.

    Parameters
    ----------
    library : str
        Table of the library, such as ``valve_types``.
    """

    library: str

    def read(self, raw: object) -> str:
        """Read a name that the library knows."""
        names = self.names()
        if isinstance(raw, str) and raw in names:
            return raw
        close = difflib.get_close_matches(str(raw)[:80], names, n=1, cutoff=0.4)
        raise UnitError(
            "no such choice",
            found=_shorten(raw),
            expected="one of " + ", ".join(f'"{name}"' for name in names),
            hint=f'did you mean "{close[0]}"?' if close else "choose one of these",
        )

    def names(self) -> tuple[str, ...]:
        """All names to choose from."""
        from shutoffsim.scenario.library import presets  # the library is large: read it when needed

        return tuple(presets(self.library))

    def describe(self) -> dict[str, Any]:
        """Return the JSON Schema of the value."""
        return {"enum": list(self.names())}

    def words(self) -> str:
        """Say what is expected, for the reference page."""
        return "one of " + ", ".join(f"`{name}`" for name in self.names())
