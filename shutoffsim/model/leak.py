"""Leaks: how often each source starts one, how much water flows, how a seep grows."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model.compiled import kernel, part
from shutoffsim.model.layout import AWAKE, YEAR
from shutoffsim.model.pipe import pipe_flow
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import LEAK_DRAWS, PER_LEAK, uniform

# Draws of one leak in LEAK_DRAWS.
(
    SEEP,
    SEEP_FLOW,
    GROWTH,
    HOLE,
    OPEN_END,
    FILM,
    DRAIN,
    SEVERITY,
    BREAKER,
    BREAKER_AREA,
) = np.arange(10)


@kernel
def leak_draw(s, key, which):
    """Return the uniform number ``which`` of the leak ``key``."""
    return uniform(s.seed, s.history, LEAK_DRAWS, key * PER_LEAK + which)


@part
def breaker_volume(p, s, key, film):
    """Return the water [m3] on the floor at which this leak trips the breaker; inf: never."""
    if leak_draw(s, key, BREAKER) >= p.mains_breaker_chance:
        return math.inf
    return quantile(p.mains_breaker_area, leak_draw(s, key, BREAKER_AREA)) * film


@kernel
def winter_share(p, t):
    """Return the seasonal factor at ``t``: cosine squared over the winter half, yearly mean 1."""
    c = math.cos(2.0 * math.pi * (t - p.weather_coldest_day) / YEAR)
    return 4.0 * c * c if c > 0.0 else 0.0


@part
def part_rate(p, i, t):
    """Return the leak rate [1/s] of source ``i`` at ``t``, by its age and the season alone.

    With a Weibull life the source is a population of like parts: a burst one is replaced, the
    others keep their age ("as bad as old"), so leaks are a Poisson process with this rate.
    """
    shape = p.source_life_shape[i]
    rate = p.source_rate[i]
    if shape > 0.0:
        age = p.source_age[i] + t
        cycle = p.source_replace_at[i]
        if cycle < math.inf:
            age = age % cycle
        if shape < 1.0:
            age = max(age, 86400.0)  # the rate has no bound at age zero
        scale = p.source_life[i]
        rate = p.source_parts[i] * shape / scale * (age / scale) ** (shape - 1.0)
    if p.source_winter[i] > 0.0:
        rate *= winter_share(p, t)
    return rate


@kernel
def leak_rate(p, s, i, t, presence):
    """Return the leak rate [1/s] of source ``i`` at ``t`` in this weather, with people there."""
    rate = part_rate(p, i, t)
    if s.spell == 1:
        rate *= p.source_spell_factor[i]
    if s.trip == 1:
        rate *= p.source_trip_factor[i]
    if p.source_in_use[i] == 1:
        share = p.people_awake_share
        rate = rate / share if presence == AWAKE and share > 0.0 else 0.0
    return rate


@kernel
def greatest_rate(p, i):
    """Return a bound of :func:`leak_rate` over the whole history, for thinning."""
    shape = p.source_life_shape[i]
    rate = p.source_rate[i]
    if shape > 0.0:
        oldest = p.source_age[i] + p.service_life
        youngest = p.source_age[i]
        if p.source_replace_at[i] < oldest:
            oldest = p.source_replace_at[i]
            youngest = 0.0
        age = oldest if shape >= 1.0 else max(youngest, 86400.0)
        scale = p.source_life[i]
        rate = p.source_parts[i] * shape / scale * (age / scale) ** (shape - 1.0)
    if p.source_winter[i] > 0.0:
        rate *= 4.0
    rate *= max(1.0, p.source_spell_factor[i]) * max(1.0, p.source_trip_factor[i])
    if p.source_in_use[i] == 1 and p.people_awake_share > 0.0:
        rate /= p.people_awake_share
    return rate


@part
def through_supply(p, pressure, resistance):
    """Return the flow [m3/s] that ``pressure`` [Pa] drives through supply and opening in series.

    Both lose pressure with the square of the flow: pressure = (K + resistance) Q^2, where K comes
    from the measured full-bore flow of the supply. Of a pipe that was not measured, friction is
    solved at this flow.
    """
    if p.dwelling_full_bore_flow <= 0.0:
        return pipe_flow(
            pressure,
            resistance,
            p.dwelling_supply_pipe_length,
            p.dwelling_supply_pipe_bore,
            p.dwelling_supply_pipe_roughness,
            p.dwelling_supply_pipe_fittings_k,
            p.dwelling_supply_pipe_friction_factor,
            p.water_density,
            p.water_viscosity,
        )
    supply = p.dwelling_full_bore_pressure / (p.dwelling_full_bore_flow * p.dwelling_full_bore_flow)
    return math.sqrt(pressure / (supply + resistance))


@kernel
def burst_flow(p, s, i, key):
    """Return the flow [m3/s] of a burst of source ``i`` with the valve open.

    A hole obeys Q = Cd A sqrt(2 p / rho); an open end is given by its flow at a stated pressure.
    """
    area = quantile(p.source_hole_area[i], leak_draw(s, key, HOLE))
    if area > 0.0:
        opening = p.source_discharge[i] * area
        resistance = p.water_density / (2.0 * opening * opening)
    else:
        free = quantile(p.source_open_end_flow[i], leak_draw(s, key, OPEN_END))
        if free <= 0.0:
            return 0.0
        resistance = p.source_open_end_pressure[i] / (free * free)
    return through_supply(p, s.pressure, resistance)
