"""What tests of torque readings share: a prior, readings as arrays, and readings made up by law."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model import quantiles
from shutoffsim.study.fit_torque.belief import Prior
from shutoffsim.study.fit_torque.law import Data

WEEK = 7 * 86400.0
YEAR = 365.25 * 86400.0


def fixed(value):
    return (float(quantiles.FIXED), value, 0.0, 0.0)


def lognormal(median, spread, least=0.0):
    return (float(quantiles.LOGNORMAL), math.log(median - least), math.log(spread), least)


def even(low, high):
    return (float(quantiles.UNIFORM), low, high, 0.0)


def a_prior(**changes):
    """Return a prior like that of the library."""
    values = {
        "level": lognormal(4.0, 1.8),
        "age_factor": lognormal(1.5, 2.0, least=1.0),
        "idle_growth": lognormal(0.15, 2.0),
        "closing_share": even(0.5, 0.85),
        "scatter": lognormal(0.15, 1.8),
        "gauge": lognormal(0.95, 1.1),
        "age_reference": 15 * YEAR,
        "idle_cap": 3.0,
    }
    return Prior(**(values | changes))


def plain_prior(**changes):
    """Return a prior in which only level and scatter are unknown, and almost anything goes."""
    nothing = {
        "level": lognormal(1.0, math.exp(20.0)),
        "age_factor": fixed(1.0),
        "idle_growth": fixed(0.0),
        "closing_share": fixed(1.0),
        "scatter": even(0.0, 10.0),
        "gauge": fixed(1.0),
    }
    return a_prior(**(nothing | changes))


def to_readings(exact=(), right=(), left=(), between=(), **columns):
    """Return readings of one valve, just moved and new unless ``columns`` say otherwise."""
    low = [*exact, *right, *[0.0] * len(left), *(a for a, _ in between)]
    high = [*exact, *[math.inf] * len(right), *left, *(b for _, b in between)]
    n = len(low)
    given = {
        "valve": np.zeros(n, int),
        "closing": np.zeros(n, bool),
        "gauge": np.zeros(n, bool),
        "idle": np.zeros(n),
        "age": np.zeros(n),
        "valves": ("the valve",),
    } | columns
    with np.errstate(divide="ignore"):
        return Data(low=np.log(low), high=np.log(high), **given)


def make_up(rng, n, truth, *, bias=1.0):
    """Return ``n`` readings of one valve, made by the law written out once more, some as limits.

    ``truth`` holds level, age factor, idle growth, closing share and scatter.
    """
    level, age_factor, growth, share, scatter = truth
    age = rng.uniform(5.0, 25.0, n)
    weeks = rng.choice([0.0, 1.0, 4.0, 26.0, 150.0], n)
    closing = rng.random(n) < 0.6
    torque = level * (1.0 + (age_factor - 1.0) * age / 15.0)
    torque = torque * np.minimum(1.0 + growth * np.log(1.0 + weeks), 3.0)
    torque = torque * np.where(closing, share, 1.0) * np.exp(scatter * rng.standard_normal(n))
    kind = rng.choice(4, n, p=[0.6, 0.15, 0.1, 0.15])
    limit = level * rng.uniform(0.5, 2.5, n)  # a torque tried whatever the valve needs
    low, high = torque * bias, torque * bias
    moved = limit > torque
    low = np.where(kind == 1, np.where(moved, 0.0, limit), low)
    high = np.where(kind == 1, np.where(moved, limit, np.inf), high)
    steps = np.floor(torque)
    low, high = np.where(kind == 3, steps, low), np.where(kind == 3, steps + 1.0, high)
    return to_readings_of(low, high, closing, weeks * WEEK, age * YEAR)


def to_readings_of(low, high, closing, idle, age):
    n = len(low)
    with np.errstate(divide="ignore"):
        return Data(
            low=np.log(low),
            high=np.log(high),
            valve=np.zeros(n, int),
            closing=closing,
            gauge=np.zeros(n, bool),
            idle=idle,
            age=age,
            valves=("the valve",),
        )
