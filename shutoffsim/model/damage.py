"""Damage: from escaped volume and wet time to a loss and its insured part.

A thin film spreads to an area V / h, over the room, then the dwelling, then through the floor.
Costs follow wetted area, with a step between 24 and 48 h (mould), and units below.
"""

from __future__ import annotations

from shutoffsim.model.compiled import part
from shutoffsim.model.quantiles import quantile


@part
def wetted_area(p, zone, volume, film):
    """Return the wetted area [m2]: the room fills first, half of what overflows wets the rest."""
    area = volume / film
    room = p.zone_area[zone]
    if area <= room:
        return area
    return min(room + 0.5 * (area - room), max(p.dwelling_floor_area, room))


@part
def units_affected(p, volume):
    """Return how many units below the water reaches (a fraction: partly)."""
    beyond = volume - p.damage_through_volume
    if beyond <= 0.0 or p.dwelling_units_below <= 0.0:
        return 0.0
    return min(p.dwelling_units_below, beyond / p.damage_volume_per_unit)


@part
def lasting_share(p, wet_time):
    """Return how much of the mould and swelling share is reached, 0 to 1."""
    if wet_time <= p.damage_wet_start:
        return 0.0
    if wet_time >= p.damage_wet_full:
        return 1.0
    return (wet_time - p.damage_wet_start) / (p.damage_wet_full - p.damage_wet_start)


@part
def loss_of(p, volume, area, units, wet_time, grey, severity_u):
    """Return the loss [money] of one leak; zero up to the harmless volume."""
    if volume <= p.damage_harmless:
        return 0.0
    per_area = (
        p.damage_area_loss * (1.0 + p.damage_wet_extra * lasting_share(p, wet_time))
        + p.damage_contents_loss
    )
    loss = p.damage_fixed_loss + per_area * area + p.damage_unit_loss * units
    if grey == 1:
        loss *= p.damage_grey_factor
    return min(loss * quantile(p.damage_severity, severity_u), p.damage_loss_cap)


@part
def insured_part(p, loss):
    """Return what the policy pays: above the deductible, up to the limit."""
    return min(max(loss - p.insurance_deductible, 0.0), p.insurance_limit)
