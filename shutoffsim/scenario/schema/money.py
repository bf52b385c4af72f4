"""What a leak costs, who pays, and what a design costs."""

from __future__ import annotations

from shutoffsim.scenario.schema import base
from shutoffsim.scenario.schema.base import Section


class Damage(Section):
    """From escaped water to loss."""

    harmless: base.Volume
    """Volume that is mopped up without loss."""
    fixed_loss: base.Amount
    """Loss of any damaging leak."""
    area_loss: base.AmountPerArea
    """Loss to the building per wetted area."""
    contents_loss: base.AmountPerArea
    """Loss of contents per wetted area."""
    wet_start: base.Time
    """Wet time at which mould and swelling losses begin."""
    wet_full: base.PositiveTime
    """Wet time at which they are complete."""
    wet_extra: base.Factor
    """Share added to area losses then."""
    grey_factor: base.Factor
    """Factor for grey water."""
    through_volume: base.Volume
    """Escaped water before it reaches a unit below."""
    volume_per_unit: base.PositiveVolume
    """Further water per unit below that is affected."""
    unit_loss: base.Amount
    """Loss per unit below."""
    severity: base.FactorSpread
    """Unexplained factor on the loss of a leak; drawn per leak."""
    loss_cap: base.AmountOrNoLimit
    """Greatest possible loss."""
    late_volume: base.Volume
    """Escaped water beyond which a closing counts as late."""


class Insurance(Section):
    """The insurer's view."""

    deductible: base.Amount
    """Borne by the owner per incident."""
    limit: base.AmountOrNoLimit
    """Greatest insured loss per incident."""


class Costs(Section):
    """What a design costs its owner."""

    purchase: base.Amount | None = None
    """Price of the parts."""
    fitting: base.Amount | None = None
    """Price of the work."""
    upkeep_per_year: base.Amount | None = None
    """Batteries, inspections and other yearly cost."""
    per_exercise: base.Amount | None = None
    """Cost of one scheduled exercise: wear, and the time of somebody who watches it."""
    per_hour_without_water: base.Amount | None = None
    """What an hour without water is worth to those who live or work there."""
    discount_rate: base.Share
    """Interest per year at which later costs and savings count less."""
