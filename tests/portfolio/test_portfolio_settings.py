"""A dwelling's cells give the record that the scenario gives with these values."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

import shutoffsim
from shutoffsim.errors import ScenarioError
from shutoffsim.records.header import read_header
from shutoffsim.study.portfolio.columns import dwellings_kind, find_keys, keys_of
from shutoffsim.study.portfolio.dwellings import Row
from shutoffsim.study.portfolio.settings import Base, Resolver

ROOT = Path(__file__).resolve().parents[2]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))

CELLS = {
    "valve.age": "40 years",
    "valve.type": "lever ball DN25",
    "people.pattern": "retired",
    "battery.capacity": "20 Wh",
    "dwelling.supply_pipe.length": "12 m",
    "element.kind": "none",
    "damage.wet_start": "9 days",
    "mount.fasteners": 6,
}


def _read_keys(names, scenario):
    known = find_keys(scenario)
    return keys_of(read_header(names, dwellings_kind(known), "table"), known, scenario)


def test_a_row_gives_what_the_scenario_gives_with_its_cells(house):
    keys = _read_keys(list(CELLS), house)
    resolver = Resolver(Base.of(house, keys, None, True))
    name = house.designs[3]
    draw = random.Random(3)
    sound = 0
    for number in range(1, 41):
        cells = tuple(raw if draw.random() < 0.4 else None for raw in CELLS.values())
        row = Row(number, str(number), name, 0, cells)
        given = {key: raw for key, raw in zip(CELLS, cells, strict=True) if raw is not None}
        made, wanted = (
            _told(resolver.record, row),
            _told(lambda cells: house.with_values(name, cells, si=False).parameters([name]), given),
        )
        if isinstance(wanted, np.ndarray):
            sound += 1
            wanted["region"] = 1
            assert made.tobytes() == wanted.tobytes()
        else:
            assert made == wanted
    assert 10 < sound < 40


def _told(record, given):
    """A record, or the words of the error."""
    try:
        return record(given)
    except ScenarioError as error:
        return str(error)


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_empty_cells_give_the_scenario_itself(path):
    scenario = shutoffsim.load(path)
    keys = _read_keys(["valve.age", "people.pattern"], scenario)
    resolver = Resolver(Base.of(scenario, keys, None, False))
    wanted = scenario.parameters()
    for number, name in enumerate(scenario.designs):
        made = resolver.record(Row(1, "1", name, 0, (None, None)))
        for field in wanted.dtype.names:
            assert np.array_equal(np.asarray(made[field][0]), np.asarray(wanted[field][number]))


ONE_ZONE = """
[dwelling]
floor_area = "80 m2"
[leaks.hose]
kind = "appliance hose"
[sensors.hall]
[designs.plain]
element.kind = "none"
[designs.piped]
dwelling.supply_pipe = {length = "20 m", bore = "20 mm"}
"""


def test_a_zone_that_was_made_follows_the_floor_area():
    scenario = shutoffsim.loads(ONE_ZONE)
    keys = _read_keys(["dwelling.floor_area"], scenario)
    assert not keys[0].alone
    resolver = Resolver(Base.of(scenario, keys, None, False))
    for design in scenario.designs:
        made = resolver.record(Row(1, "1", design, 0, ("200 m2",)))
        assert made["zone_area"][0][0] == pytest.approx(200.0)
        assert made["dwelling_floor_area"][0] == pytest.approx(200.0)


def test_a_named_zone_keeps_its_own_area():
    scenario = shutoffsim.loads(ONE_ZONE + '[zones.dwelling]\narea = "30 m2"\n')
    keys = _read_keys(["dwelling.floor_area"], scenario)
    assert keys[0].alone
    resolver = Resolver(Base.of(scenario, keys, None, False))
    made = resolver.record(Row(1, "1", "plain", 0, ("200 m2",)))
    assert made["zone_area"][0][0] == pytest.approx(30.0)
