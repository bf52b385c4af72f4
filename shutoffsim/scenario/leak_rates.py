"""How many leaks a year each source amounts to, with age, season, weather and trips counted."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model.layout import YEAR
from shutoffsim.scenario.rules import awake_share, away_share
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.water import Leak

_DAY = 86400.0


def leaks_a_year(system: System, service_life: float) -> dict[str, float]:
    """Return the expected number of leaks a year of every source that is fitted.

    Parameters
    ----------
    system : System
        One design.
    service_life : float
        s.

    Returns
    -------
    dict of str to float
        Per year, mean over the service life.

    Notes
    -----
    The chance of a severe spell is taken as in balance with its rate at every time of the year,
    which is exact for spells that are short against a season.
    """
    weather = system.weather
    edges = np.linspace(0.0, service_life, max(math.ceil(service_life / _DAY), 1) + 1)
    middle = 0.5 * (edges[1:] + edges[:-1])
    cosine = np.cos(2.0 * np.pi * (middle - weather.coldest_day) / YEAR)
    winter = 4.0 * np.clip(cosine, 0.0, None) ** 2
    spells = weather.spell_rate * weather.spell_duration.mean * winter
    in_spell = spells / (1.0 + spells)
    away = away_share(system.people)
    found = {}
    for name, leak in system.leaks.items():
        if not leak.fitted:
            continue
        number = _born(leak, edges)
        if leak.season == "winter":
            number = number * winter
        number = number * (1.0 + (leak.spell_factor - 1.0) * in_spell)
        if leak.starts == "any time":
            number = number * (1.0 + (leak.trip_factor - 1.0) * away)
        elif awake_share(system.people) == 0.0:
            number = 0.0 * number  # nobody is there to set it off
        found[name] = float(number.sum()) / service_life * YEAR
    return found


def _born(leak: Leak, edges: np.ndarray) -> np.ndarray:
    """Return the leaks between times [s] by rate or age alone."""
    if leak.rate is not None:
        return leak.rate * leak.parts * np.diff(edges)
    assert leak.life is not None
    cycle = min(leak.replace_at, 1e3 * edges[-1] + 2.0 * leak.age)  # never: beyond all that comes
    age = (0.0 if leak.age >= cycle else leak.age) + edges
    replaced = np.floor(age / cycle)
    left = age - replaced * cycle
    return leak.parts * np.diff(replaced * _hazard(leak, cycle) + _hazard(leak, left))


def _hazard(leak: Leak, age: np.ndarray | float) -> np.ndarray:
    """Return the cumulative hazard of a Weibull life up to an age [s]."""
    assert leak.life is not None
    return (np.asarray(age) / leak.life) ** leak.life_shape
