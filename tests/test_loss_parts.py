"""A loss taken apart: its parts by hand, and that they add up to it."""

from __future__ import annotations

import numpy as np
import pytest
from checks import perfect

from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.study.incidents import incident_table, loss_parts_of, taken_apart

PRICES = """
element.kind = "none"
dwelling.units_below = 1
damage = {harmless = "0 L", fixed_loss = "100 EUR", area_loss = "10 EUR/m2", \
contents_loss = "4 EUR/m2", unit_loss = "500 EUR", wet_start = "1 h", wet_full = "3 h", \
wet_extra = 0.5, through_volume = "10 L", volume_per_unit = "20 L", grey_factor = 2, \
severity = 3, loss_cap = "no limit"}
"""


def row(**values):
    from shutoffsim.model import layout as L

    rows = np.zeros(1, L.INCIDENT)
    for name, value in values.items():
        rows[name] = value
    return rows


def test_each_part_by_hand():
    """7 m2 wet for two hours, half a unit below: 100 + 70 + 17.5 + 28 + 250, all times 3."""
    params = perfect(PRICES).parameters()
    loss = 3 * (100 + 70 + 17.5 + 28 + 250)
    found = taken_apart(row(wet_area=7.0, units=0.5, wet_time=2 * 3600.0, loss=loss), params)
    money = [
        found[f"loss_{name}"][0] for name in ("fixed", "building", "mould", "contents", "below")
    ]
    assert money == pytest.approx([300, 210, 52.5, 84, 750])
    assert found["loss_factor"] == pytest.approx(3)


def test_nothing_lost_has_no_parts():
    found = taken_apart(row(wet_area=7.0), perfect(PRICES).parameters())
    assert [float(value[0]) for value in found.values()] == [0.0] * 6


def test_parts_of_every_simulated_loss_add_up(cottage):
    params = cottage.parameters()
    chunk = run_chunk(Setup.of(params, 3), 0, 16)
    table = incident_table(chunk.rows.reshape(-1), cottage, cottage.designs, params).to_pylist()
    damaging = [each for each in table if each["loss"] > 0.0]
    assert len(damaging) > 100
    for each in damaging:
        assert sum(loss_parts_of(each).values()) == pytest.approx(each["loss"], rel=1e-9)
        assert each["loss_building"] > 0.0
