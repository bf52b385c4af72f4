"""The kinds of quantity, the units they may be written in, and the slips people make."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Dimension:
    """A kind of quantity and the units it may be written in.

    Parameters
    ----------
    name : str
        Words for an error message, with article.
    si : str
        The SI unit of the numbers behind it.
    units : dict of str to str
        Spelling in a scenario file to expression of the unit library.
    example : str
        A right text, for messages.
    shown : tuple of str
        Units for display, smallest first.
    """

    name: str
    si: str
    units: dict[str, str]
    example: str
    shown: tuple[str, ...]


def _same(*spellings: str, of: str) -> dict[str, str]:
    return dict.fromkeys(spellings, of)


_TIME = {
    **_same("s", "second", "seconds", of="second"),
    **_same("min", "minute", "minutes", of="minute"),
    **_same("h", "hour", "hours", of="hour"),
    **_same("d", "day", "days", of="day"),
    **_same("week", "weeks", of="week"),
    **_same("month", "months", of="year/12"),
    **_same("year", "years", "yr", of="year"),
}
_PER_TIME = {
    **_same("per s", "per second", "/s", "1/s", of="1/second"),
    **_same("per min", "per minute", of="1/minute"),
    **_same("per h", "per hour", "/h", "1/h", of="1/hour"),
    **_same("per day", "/day", "1/day", of="1/day"),
    **_same("per week", "/week", "1/week", of="1/week"),
    **_same("per month", "/month", "1/month", of="12/year"),
    **_same("per year", "/year", "1/year", "/yr", of="1/year"),
}
_SHARE = {"%": "percent"}

DIMENSIONS: dict[str, Dimension] = {
    "time": Dimension("a time", "second", _TIME, "30 min", ("s", "min", "h", "days", "years")),
    "rate": Dimension(
        "a rate",
        "1/second",
        {**_PER_TIME, "FIT": "1e-9/hour"},
        "0.02 per year",
        ("per year", "per day", "per h", "per s"),
    ),
    "share rate": Dimension(
        "a share lost per time",
        "1/second",
        {f"% {unit}": f"0.01*({of})" for unit, of in _PER_TIME.items() if unit.startswith("per")},
        "3 % per year",
        ("% per year",),
    ),
    "share per kelvin": Dimension(
        "a share per degree",
        "1/kelvin",
        {
            **_same("% per K", "%/K", "% per degC", "%/degC", of="0.01/kelvin"),
            **_same("per K", "1/K", "/K", of="1/kelvin"),
        },
        "0.5 % per K",
        ("% per K",),
    ),
    "pressure": Dimension(
        "a pressure above the air's",
        "pascal",
        {
            "Pa": "pascal",
            "kPa": "kilopascal",
            "MPa": "megapascal",
            "mbar": "millibar",
            **_same("bar", "barg", of="bar"),
            **_same("psi", "psig", of="psi"),
            **_same("m H2O", "mH2O", "mwc", of="9806.65*pascal"),
        },
        "3 bar",
        ("Pa", "kPa", "bar"),
    ),
    "flow": Dimension(
        "a flow",
        "meter**3/second",
        {
            **_same("L/min", "l/min", "lpm", of="0.001*meter**3/minute"),
            **_same("mL/min", "ml/min", of="1e-6*meter**3/minute"),
            **_same("L/h", "l/h", of="0.001*meter**3/hour"),
            **_same("mL/h", "ml/h", of="1e-6*meter**3/hour"),
            **_same("L/s", "l/s", of="0.001*meter**3/second"),
            **_same("L/day", "l/day", of="0.001*meter**3/day"),
            "m3/h": "meter**3/hour",
            "m3/s": "meter**3/second",
            **_same("gpm", "gal/min", of="US_liquid_gallon/minute"),
            "gal/h": "US_liquid_gallon/hour",
            "gal/day": "US_liquid_gallon/day",
        },
        "10 L/min",
        ("mL/min", "L/min", "m3/h"),
    ),
    "volume": Dimension(
        "a volume",
        "meter**3",
        {
            **_same("mL", "ml", of="1e-6*meter**3"),
            **_same("L", "l", of="0.001*meter**3"),
            "m3": "meter**3",
            "gal": "US_liquid_gallon",
            "ft3": "foot**3",
        },
        "5 L",
        ("mL", "L", "m3"),
    ),
    "area": Dimension(
        "an area",
        "meter**2",
        {
            "mm2": "millimeter**2",
            "cm2": "centimeter**2",
            "m2": "meter**2",
            "ft2": "foot**2",
            "in2": "inch**2",
        },
        "12 m2",
        ("mm2", "cm2", "m2"),
    ),
    "length": Dimension(
        "a length",
        "meter",
        {
            **_same("um", "µm", of="micrometer"),
            "mm": "millimeter",
            "cm": "centimeter",
            "m": "meter",
            **_same("in", "inch", of="inch"),
            "ft": "foot",
        },
        "2 mm",
        ("um", "mm", "m"),
    ),
    "evaporation": Dimension(
        "a depth of water per time",
        "meter/second",
        {
            "mm/h": "millimeter/hour",
            "mm/day": "millimeter/day",
            **_same("kg/m2 h", "kg/(m2 h)", of="millimeter/hour"),
        },
        "0.045 mm/h",
        ("mm/h",),
    ),
    "force": Dimension(
        "a force",
        "newton",
        {
            "N": "newton",
            "kgf": "kilogram_force",
            "gf": "gram*standard_gravity",
            "lbf": "pound_force",
            "ozf": "pound_force/16",
        },
        "25 N",
        ("N",),
    ),
    "torque": Dimension(
        "a torque",
        "newton*meter",
        {
            **_same("N*m", "N m", "Nm", of="newton*meter"),
            **_same("N*cm", "N cm", "Ncm", of="newton*centimeter"),
            **_same("mN*m", "mNm", of="millinewton*meter"),
            **_same("kgf*cm", "kgf cm", "kgfcm", of="kilogram_force*centimeter"),
            **_same("kgf*m", "kgf m", of="kilogram_force*meter"),
            **_same("gf*cm", "gf cm", of="gram*standard_gravity*centimeter"),
            **_same("in*lbf", "lbf*in", "in lbf", of="inch*pound_force"),
            **_same("ft*lbf", "lbf*ft", "ft lbf", of="foot*pound_force"),
            **_same("ozf*in", "in*ozf", of="inch*pound_force/16"),
        },
        "2.4 N*m",
        ("mN*m", "N*m"),
    ),
    "voltage": Dimension(
        "a voltage", "volt", {"mV": "millivolt", "V": "volt"}, "12 V", ("mV", "V")
    ),
    "current": Dimension(
        "a current",
        "ampere",
        {"uA": "microampere", "mA": "milliampere", "A": "ampere"},
        "2.5 A",
        ("mA", "A"),
    ),
    "power": Dimension(
        "a power",
        "watt",
        {"uW": "microwatt", "mW": "milliwatt", "W": "watt", "kW": "kilowatt"},
        "0.4 W",
        ("mW", "W"),
    ),
    "energy": Dimension(
        "an energy",
        "joule",
        {
            "J": "joule",
            "kJ": "kilojoule",
            "mWh": "milliwatt*hour",
            "Wh": "watt*hour",
            "kWh": "kilowatt*hour",
        },
        "20 Wh",
        ("J", "Wh"),
    ),
    "charge": Dimension(
        "a charge",
        "coulomb",
        {"mAh": "milliampere*hour", "Ah": "ampere*hour"},
        "2.6 Ah",
        ("mAh", "Ah"),
    ),
    "resistance": Dimension(
        "an electrical resistance",
        "ohm",
        {**_same("mohm", "mΩ", of="milliohm"), **_same("ohm", "Ω", of="ohm")},
        "150 mohm",
        ("mohm", "ohm"),
    ),
    "temperature": Dimension(
        "a temperature",
        "degree_Celsius",
        {
            **_same("degC", "°C", of="degree_Celsius"),
            **_same("degF", "°F", of="degree_Fahrenheit"),
            "K": "kelvin",
        },
        "20 degC",
        ("degC",),
    ),
    "thermal resistance": Dimension(
        "a thermal resistance",
        "kelvin/watt",
        _same("K/W", "degC/W", "°C/W", of="kelvin/watt"),
        "40 K/W",
        ("K/W",),
    ),
    "turns": Dimension(
        "an angle",
        "turn",
        {**_same("turn", "turns", of="turn"), **_same("deg", "degrees", of="degree")},
        "0.25 turns",
        ("turns",),
    ),
    "speed": Dimension(
        "a turning speed",
        "turn/second",
        {
            "rpm": "turn/minute",
            **_same("deg/s", "degrees per second", "deg per s", of="degree/second"),
            "turns per s": "turn/second",
        },
        "3 s per quarter turn",
        ("rpm",),
    ),
    "share": Dimension("a share", "dimensionless", _SHARE, '0.1" or "10 %', ("",)),
    "factor": Dimension("a factor", "dimensionless", _SHARE, '1.5" or "150 %', ("",)),
}

# Speeds that are written as the time for an angle: turns of that angle.
TIME_FOR_ANGLE = {"s per quarter turn": 0.25, "s per turn": 1.0, "s per 60 deg": 1.0 / 6.0}
PLAIN = ("share", "factor")  # a bare number is right for these

# What people write and what they should write; looked up when a unit is not in the list.
MISTAKES: tuple[tuple[str, str], ...] = (
    (r"^l/m$|^L/m$", 'l/m is litres per metre; write "L/min" for litres per minute'),
    (r"kg\*?\s?cm", 'kg is a mass; write "kgf*cm" for a torque in kilogram-force'),
    (r"^k?g$", 'kilograms and grams are masses; a hanging scale shows a force: "kgf" or "gf"'),
    (r"^(lbs?|oz)$", 'pounds and ounces are masses; a scale shows a force: "lbf" or "ozf"'),
    (r"^bar\s?\([ag]\)$", 'pressures here are above the air\'s; write plain "bar"'),
    (r"^bara$|^psia$", "pressures here are above the air's (gauge); subtract 1 bar (14.7 psi)"),
    (r"^[kM]\s", "write the number out in full: 5000 instead of 5k"),
    (r"^[x×*]", "write the number out in full, as in 1.2e3"),
    (r"^/\s?[0-9]", "write a fraction as a decimal number: 0.5 instead of 1/2"),
    (r"^[½¼¾⅓]", "write a fraction as a decimal number: 0.5"),
    (r"^,", "use a point, not a comma, in numbers: 1.5"),
    (r"^\.\.|^\s?-\s?[0-9]|^to ", 'write a range as {low = "...", high = "..."}'),
    (r"^[0-9]", "write the number without spaces: 1000"),
    (r"^\.", "write a digit after the point: 5.0"),
    (r"cycle|pulse|claim|home", "counts have no unit here"),
    (r"^±|^\+/?-", 'write a spread as {median = "...", spread = 1.3}'),
)
