"""The site: what a dwelling is from the start, drawn once a history."""

from __future__ import annotations

import numpy as np

from shutoffsim.model.aim import aim_site
from shutoffsim.model.compiled import kernel, part
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import ACTUATOR_DRAWS, SITE, even_uniform, next_draw

PRESSURE, BREAKAWAY, AGE, SEAT, UNIT, CREEP, KNOWS, FIRST_TRIP, TILT = np.arange(9)


@kernel
def site_draw(s, which):
    """Return the uniform number ``which`` of this dwelling."""
    return even_uniform(s.seed, s.history, SITE, which)


@part
def draw_site(p, s):
    """Set what stays as it is, and return the uniform of the element's first random failure."""
    s.pressure = quantile(p.dwelling_pressure, site_draw(s, PRESSURE))
    rarity = 1.0 - site_draw(s, BREAKAWAY)
    rarity, failure = aim_site(p, s, site_draw(s, TILT), rarity, next_draw(s, ACTUATOR_DRAWS))
    s.breakaway = quantile(p.valve_breakaway, 1.0 - rarity)
    s.age_factor = quantile(p.valve_age_factor, site_draw(s, AGE))
    s.seat_leak = quantile(p.valve_seat_leak, site_draw(s, SEAT))
    s.unit = quantile(p.actuator_unit_spread, site_draw(s, UNIT))
    s.creep = quantile(p.mount_creep, site_draw(s, CREEP))
    s.knows_valve = 1 if site_draw(s, KNOWS) < p.override_knows_valve else 0
    return failure
