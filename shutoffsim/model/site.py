"""The site: what a dwelling is from the start, drawn once a history."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model import control
from shutoffsim.model.compiled import kernel, part
from shutoffsim.model.fitted import closes_itself
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import SITE, even_uniform

PRESSURE, BREAKAWAY, AGE, SEAT, UNIT, PRELOAD, KNOWS, FIRST_TRIP, TILT = np.arange(9)

STIFF_REACH = 1e-10  # how rare the stiffest valves are that tilted histories come to


@kernel
def site_draw(s, which):
    """Return the uniform number ``which`` of this dwelling."""
    return even_uniform(s.seed, s.history, SITE, which)


@part
def draw_site(p, s):
    """Set what stays as it is, and return the uniform of the element's first random failure."""
    s.pressure = quantile(p.pressure, site_draw(s, PRESSURE))
    stiff, failure = aim(p, s)
    s.breakaway = quantile(p.breakaway, stiff)
    s.age_factor = quantile(p.age_factor, site_draw(s, AGE))
    s.seat_leak = quantile(p.seat_leak, site_draw(s, SEAT))
    s.unit = quantile(p.unit_spread, site_draw(s, UNIT))
    s.preload = quantile(p.preload_kept, site_draw(s, PRELOAD))
    s.knows_valve = 1 if site_draw(s, KNOWS) < p.knows_valve else 0
    return failure


@part
def aim(p, s):
    """Draw the uniforms of the breakaway torque and of the first random failure; set the weight.

    With tilt, half of the histories draw both as ever. The others look where failures come from:
    some draw the rarity of the valve, the chance of a stiffer one, log-uniformly, each power of ten
    as often as the next, down to STIFF_REACH; some draw a first failure within the service life.
    The weight is the ratio of the plain density to this mixture's, so weighted means stay unbiased
    and no weight exceeds 2. The squared relative error of a history then hardly grows, however
    rare the stiffness or the failure that matters.
    """
    rarity = 1.0 - site_draw(s, BREAKAWAY)
    failure = control.element_draw(s)
    s.weight = 1.0
    if s.tilt == 1:
        within = 0.0  # chance that the element fails at random within the service life
        if closes_itself(p):
            within = -math.expm1(-p.failure_rate * p.horizon)
        failing = 0.25 if within > 0.0 else 0.0
        depth = -math.log(STIFF_REACH)
        look = site_draw(s, TILT)
        if look < failing:
            failure *= within
        elif look < 0.5:
            rarity = math.exp(depth * (rarity - 1.0))
        density = 0.5  # of the mixture over the plain one
        if failure < within:
            density += failing / within
        if rarity > STIFF_REACH:
            density += (0.5 - failing) / (depth * rarity)
        s.weight = 1.0 / density
    return 1.0 - rarity, failure
