"""Damage: from the water that lay on the floor and wet time to a loss and its insured part.

A thin film spreads to an area V / h, over the room, then the dwelling, then through the floor.
Costs follow wetted area, with a step between 24 and 48 h (mould), and units below.
"""

from __future__ import annotations

import numpy as np

from shutoffsim.model.compiled import allocating_entry, kernel, law, part
from shutoffsim.model.quantiles import chance, limited_mean, quantile


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


@law
def lasting_share(p, wet_time):
    """Return how much of the mould and swelling share is reached, 0 to 1; numbers or arrays."""
    beyond = (wet_time - p.damage_wet_start) / (p.damage_wet_full - p.damage_wet_start)
    return np.minimum(np.maximum(beyond, 0.0), 1.0)


#: What a loss is made of, as :func:`loss_parts` gives them.
LOSS_PARTS = ("fixed", "building", "mould", "contents", "below")


@law
def loss_parts(p, area, units, wet_time, grey):
    """Return what a damaging leak costs, apart; numbers or arrays.

    Parameters
    ----------
    p : record or record array
        Parameters.
    area, units, wet_time : float or array
        Wetted area [m2], units below affected, wet time [s].
    grey : int or array
        1: the water is grey.

    Returns
    -------
    tuple
        Money by :data:`LOSS_PARTS`, before the factor for all that is not modelled, and the cap.
    """
    factor = 1.0 + (p.damage_grey_factor - 1.0) * grey
    building = p.damage_area_loss * area * factor
    return (
        p.damage_fixed_loss * factor,
        building,
        building * p.damage_wet_extra * lasting_share(p, wet_time),
        p.damage_contents_loss * area * factor,
        p.damage_unit_loss * units * factor,
    )


@part
def modelled_loss(p, lying, area, units, wet_time, grey):
    """Return what a leak costs [money] before the factor for all that is not modelled, and the cap.

    Zero where no more than is harmless lay there.
    """
    if lying <= p.damage_harmless:
        return 0.0
    fixed, building, mould, contents, below = loss_parts(p, area, units, wet_time, grey)
    return fixed + building + mould + contents + below


@part
def drawn_loss(p, modelled, severity_u):
    """Return the loss [money] of a leak, with a factor drawn for all that is not modelled."""
    return min(modelled * quantile(p.damage_severity, severity_u), p.damage_loss_cap)


@part
def insured_part(p, loss):
    """Return what the policy pays: above the deductible, up to the limit."""
    return min(max(loss - p.insurance_deductible, 0.0), p.insurance_limit)


@kernel
def mean_up_to(p, modelled, most):
    """Return the mean over that factor of a loss [money] that is cut off at ``most`` [money]."""
    return modelled * limited_mean(p.damage_severity, most / modelled)


@part
def mean_losses(p, modelled):
    """Return the mean over that factor of the loss and of its insured part [money]."""
    if modelled <= 0.0:
        return 0.0, 0.0
    cap = p.damage_loss_cap
    first = min(p.insurance_deductible, cap)
    last = min(p.insurance_deductible + p.insurance_limit, cap)
    insured = mean_up_to(p, modelled, last) - mean_up_to(p, modelled, first)
    return mean_up_to(p, modelled, cap), max(insured, 0.0)


@allocating_entry
def chances_of_losses(severity, modelled, edges):
    """Return the chance (m, n) that leaks of ``modelled`` losses (m,) cost at most ``edges`` (n,).

    With a factor of the law ``severity``; before the cap.
    """
    out = np.empty((len(modelled), len(edges)))
    for i in range(len(modelled)):
        for j in range(len(edges)):
            out[i, j] = chance(severity, edges[j] / modelled[i])
    return out
