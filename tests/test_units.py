"""Units: the right number, or a clear refusal; never a silent misreading."""

import subprocess
import sys

import pytest

from makers.units import compute_lines, files
from shutoffsim import units
from shutoffsim.errors import UnitError
from shutoffsim.units.factors import kept_lines

# One unit each, in SI, worked out by hand from the definitions of the units.
POUND_FORCE = 0.45359237 * 9.80665
SI = {
    ("time", "min"): 60.0,
    ("time", "weeks"): 7 * 86400.0,
    ("time", "months"): 365.25 * 86400.0 / 12,
    ("time", "years"): 365.25 * 86400.0,
    ("rate", "per year"): 1 / (365.25 * 86400.0),
    ("rate", "per h"): 1 / 3600.0,
    ("rate", "per month"): 12 / (365.25 * 86400.0),
    ("rate", "FIT"): 1e-9 / 3600.0,
    ("share rate", "% per year"): 0.01 / (365.25 * 86400.0),
    ("share per kelvin", "% per K"): 0.01,
    ("pressure", "bar"): 1e5,
    ("pressure", "barg"): 1e5,
    ("pressure", "kPa"): 1e3,
    ("pressure", "MPa"): 1e6,
    ("pressure", "psi"): POUND_FORCE / 0.0254**2,
    ("pressure", "m H2O"): 9806.65,
    ("flow", "L/min"): 1e-3 / 60,
    ("flow", "L/h"): 1e-3 / 3600,
    ("flow", "mL/min"): 1e-6 / 60,
    ("flow", "m3/h"): 1 / 3600,
    ("flow", "gpm"): 231 * 0.0254**3 / 60,
    ("volume", "L"): 1e-3,
    ("volume", "gal"): 231 * 0.0254**3,
    ("area", "mm2"): 1e-6,
    ("area", "ft2"): 0.3048**2,
    ("length", "in"): 0.0254,
    ("volume", "ft3"): 0.3048**3,
    ("force", "kgf"): 9.80665,
    ("force", "gf"): 0.00980665,
    ("force", "lbf"): POUND_FORCE,
    ("force", "ozf"): POUND_FORCE / 16,
    ("torque", "N*m"): 1.0,
    ("torque", "Nm"): 1.0,
    ("torque", "kgf*cm"): 0.0980665,
    ("torque", "in*lbf"): 0.0254 * POUND_FORCE,
    ("torque", "ft*lbf"): 0.3048 * POUND_FORCE,
    ("torque", "ozf*in"): 0.0254 * POUND_FORCE / 16,
    ("voltage", "mV"): 1e-3,
    ("current", "mA"): 1e-3,
    ("power", "mW"): 1e-3,
    ("energy", "Wh"): 3600.0,
    ("charge", "Ah"): 3600.0,
    ("resistance", "mohm"): 1e-3,
    ("thermal resistance", "K/W"): 1.0,
    ("turns", "deg"): 1 / 360,
    ("speed", "rpm"): 1 / 60,
    ("speed", "deg/s"): 1 / 360,
    ("share", "%"): 0.01,
}


def test_the_kept_factors_are_those_of_the_unit_library():
    """To the last bit, for every unit that may be written and for no other."""
    assert kept_lines() == compute_lines()
    assert [(file, file.read_bytes()) for file, _ in files()] == list(files())


@pytest.mark.parametrize(("dimension", "unit"), list(SI))
def test_a_unit_has_its_defined_size(dimension, unit):
    assert units.parse(f"1 {unit}", dimension) == pytest.approx(SI[dimension, unit], rel=1e-12)


@pytest.mark.parametrize("dimension", units.dimensions())
def test_every_listed_unit_is_read_and_every_value_is_shown(dimension):
    for unit in units.units_of(dimension):
        value = units.parse(f"3 {unit}", dimension)
        assert isinstance(value, float)
        shown = units.format(value, dimension)
        assert units.parse(shown, dimension) == pytest.approx(value, rel=6e-3)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("2.4 Nm", "torque", 2.4),
        ("25 kgf·cm", "torque", 2.4516625),
        ("1.5 m3/h", "flow", 1.5 / 3600),
        ("1.5 m³/h", "flow", 1.5 / 3600),
        ("1.5 m^3/h", "flow", 1.5 / 3600),
        ("20 degC", "temperature", 20.0),
        ("20 °C", "temperature", 20.0),
        ("-5 degC", "temperature", -5.0),
        ("293.15 K", "temperature", 20.0),
        ("68 degF", "temperature", 20.0),
        ("10 %", "share", 0.1),
        ("0.1", "share", 0.1),
        ("0.02 per year", "rate", 0.02 / 31557600),
        ("1e-6 /h", "rate", 1e-6 / 3600),
        ("30d", "time", 30 * 86400.0),
        ("2 s per quarter turn", "speed", 0.125),
        ("0.15 s per 60 deg", "speed", 1 / 0.9),
        ("  3   bar ", "pressure", 3e5),
        ("1.5e3 Pa", "pressure", 1500.0),
    ],
)
def test_what_people_write_is_read_rightly(text, dimension, value):
    assert units.parse(text, dimension) == pytest.approx(value, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "dimension", "hint"),
    [
        ("1,5 bar", "pressure", "point, not a comma"),
        ("2,6 Ah", "charge", "point, not a comma"),
        ("1 000 h", "time", "without spaces"),
        ("10..20 L/min", "flow", "low = "),
        ("10-20 L/min", "flow", "low = "),
        ("10 ± 2 L/min", "flow", "spread"),
        ("3 bar(g)", "pressure", 'plain "bar"'),
        ("3 bara", "pressure", "subtract 1 bar"),
        ("5k h", "time", "5000 instead of 5k"),
        ("10 l/m", "flow", "litres per metre"),
        ("100 €", "volume", "currency signs"),
        ("€100", "volume", "currency signs"),
        ("1 cycle", "turns", "counts have no unit"),
        ("½ in", "length", "decimal"),
        ("1/2 in", "length", "decimal"),
        ("1½ in", "length", "decimal"),
        ("every 30 days", "time", "only the number and its unit"),
        ("25 kg*cm", "torque", "kg is a mass"),
        ("25 kgcm", "torque", "kg is a mass"),
        ("2.5 kg", "force", 'a hanging scale shows a force: "kgf"'),
        ("9 lbs", "force", 'a scale shows a force: "lbf"'),
        ("25 кгс·см", "torque", "units here"),
        ("3", "pressure", "add the unit"),
        ("3 BAR", "pressure", 'as "bar"'),
        ("3 mpa", "pressure", 'as "MPa"'),
        ("3 brr", "pressure", 'did you mean "bar"'),
        ("3 V", "pressure", "for a voltage"),
        (".5 bar", "pressure", "before the point"),
        ("5. bar", "pressure", "after the point"),
        ("+3 bar", "pressure", "plus sign"),
        ("\u22125 degC", "temperature", "hyphen"),
        ("", "time", "empty"),
        ("1e999 s", "time", "too large"),
        ("nan s", "time", "a number and its unit"),
        ("inf s", "time", "a number and its unit"),
        ("٣ bar", "pressure", "a number and its unit"),
        ("0 s per turn", "speed", "above zero"),
        ("1 " + "x" * 200, "time", "too long"),
    ],
)
def test_what_would_be_misread_is_refused_with_advice(text, dimension, hint):
    with pytest.raises(UnitError) as caught:
        units.parse(text, dimension)
    assert hint in str(caught.value)
    assert caught.value.expected


def test_money_has_one_currency():
    assert units.parse_money("120 EUR", "EUR") == 120.0
    assert units.parse_money("60 EUR/m2", "EUR", per_area=True) == 60.0
    assert units.parse_money("1 EUR/ft2", "EUR", per_area=True) == pytest.approx(10.7639, 1e-4)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("100 USD", "not converted"),
        ("100 €", "currency signs"),
        ("$100", "currency signs"),
        ("1,000 EUR", "EUR"),
        ("100", "add the unit"),
        ("100 EUR/m2", "and then"),
    ],
)
def test_wrong_money_is_refused(text, hint):
    with pytest.raises(UnitError) as caught:
        units.parse_money(text, "EUR")
    assert hint in str(caught.value)


@pytest.mark.parametrize(
    ("value", "dimension", "text"),
    [
        (90.0, "time", "1.5 min"),
        (0.0, "time", "0 min"),
        (float("inf"), "time", "never"),
        (float("inf"), "current", "no limit"),
        (2.4516625, "torque", "2.45 N*m"),
        (0.02 / 31557600, "rate", "0.02 per year"),
        (3e5, "pressure", "3 bar"),
        (0.25, "turns", "0.25 turns"),
        (1 / 6000, "flow", "10 L/min"),
        (18.0, "temperature", "18 degC"),
    ],
)
def test_numbers_are_shown_in_a_friendly_unit(value, dimension, text):
    assert units.format(value, dimension) == text


def test_importing_units_does_not_build_the_unit_registry():
    code = "import sys, shutoffsim.units; print('pint' in sys.modules)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "False"
