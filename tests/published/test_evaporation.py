"""Evaporation of undisturbed water: M. M. Shah's formula, his printed values, and our default.

The saturated vapour pressure is that of A. L. Buck, Journal of Applied Meteorology 20 (1981) 1527.
"""

from __future__ import annotations

import math

import pytest

import shutoffsim

ATMOSPHERE = 101_325.0  # Pa


def vapour_pressure(celsius: float) -> float:
    """Return the pressure of saturated vapour, Pa."""
    return 611.21 * math.exp((18.678 - celsius / 234.5) * celsius / (257.14 + celsius))


def evaporation(water: float, room: float, humidity: float) -> float:
    """Return kg/(m2 h) from undisturbed water (degC) in a room (degC, relative humidity)."""

    def moist_air(celsius: float, pressure: float) -> tuple[float, float]:
        dry = ATMOSPHERE - pressure
        return dry / (287.055 * (celsius + 273.15)), 0.62198 * pressure / dry

    at_water, in_room = vapour_pressure(water), humidity * vapour_pressure(room)
    dense_w, ratio_w = moist_air(water, at_water)
    dense_r, ratio_r = moist_air(room, in_room)
    rise = 35 * dense_w * max(dense_r - dense_w, 0.0) ** (1 / 3) * (ratio_w - ratio_r)
    return max(rise, 5e-5 * (at_water - in_room))


@pytest.mark.parametrize(("room", "printed"), [(28, 0.1360), (29, 0.1171), (30, 0.0968)])
def test_the_formula_gives_the_values_its_author_printed(room, printed):
    """Water of 28 degC at 50 % humidity, as his table reads in a public source file."""
    assert evaporation(28, room, 0.5) == pytest.approx(printed, rel=0.01)


@pytest.mark.parametrize(
    ("water", "room", "humidity", "rate"),
    [(18, 20, 0.5, 0.045), (16, 20, 0.5, 0.032), (20, 20, 0.5, 0.073), (10, 12, 0.7, 0.012)],
)
def test_the_default_and_its_range_follow_from_it(water, room, humidity, rate):
    assert evaporation(water, room, humidity) == pytest.approx(rate, rel=0.04)


def test_the_default_is_that_of_a_floor_two_degrees_cooler_than_its_room():
    scenario = shutoffsim.loads(
        'name = "x"\n[zones.kitchen]\n[leaks.hose]\nkind = "flexible hose"\nzone = "kitchen"\n'
        '[designs.a]\nelement.kind = "none"\n'
    )
    default = scenario.parameters()[0].dwelling_evaporation
    assert default * 3600 * 1000 == pytest.approx(0.045)
