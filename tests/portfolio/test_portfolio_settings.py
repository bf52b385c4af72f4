"""The short way from a dwelling's cells to its record gives what resolving in full gives."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

import shutoffsim
from shutoffsim.errors import ScenarioError
from shutoffsim.scenario.structure import merge
from shutoffsim.study.portfolio import settings
from shutoffsim.study.portfolio.columns import read_header
from shutoffsim.study.portfolio.dwellings import Row
from shutoffsim.study.portfolio.settings import Base, Resolver

ROOT = Path(__file__).resolve().parents[2]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))

#: For each column, cells that exercise what values have to do with each other.
CELLS = {
    "valve.age": ["0 years", "40 years"],
    "valve.type": ["multi-turn stop valve", "ball valve, quarter turn"],
    "valve.breakaway": ["4 N*m", {"median": "6 N*m", "spread": 1.5}],
    "dwelling.pressure": ["2 bar", {"low": "2 bar", "high": "4 bar", "shape": "even"}],
    "dwelling.floor_area": ["300 m2", "5 m2"],
    "dwelling.units_below": [0, 3],
    "dwelling.full_bore_flow": ["20 L/min"],
    "dwelling.supply_pipe.length": ["12 m"],
    "people.pattern": ["retired", "working family"],
    "people.trips": [True, False],
    "people.trip": ["2 days"],
    "people.week.saturday": [{"wake": "07:00", "sleep": "23:00"}],
    "battery.capacity": ["2.6 Ah", "20 Wh"],
    "battery.voltage": ["7.4 V", "12 V"],
    "battery.fitted": [True, False],
    "battery.chemistry": ["lithium-ion", "lead-acid"],
    "controller.brown_out": ["4 V", "30 V"],
    "element.kind": ["none", "clamped actuator", "motorised valve"],
    "damage.wet_start": ["1 day", "9 days"],
    "exercise.interval": ["30 days", "never"],
    "exercise.outage": ["1 min", "2 hours"],
    "mount.fasteners": [0, 6],
    "detection.votes": [1, 2],
    "actuator.stall_current": ["5 A", "1 mA"],
}


def _columns(scenario):
    first = scenario.source_names[0]
    cells = dict(CELLS)
    for name in scenario.source_names[:2]:
        cells |= {
            f'leaks."{name}".age': ["3 years", "12 years"],
            f'leaks."{name}".replace_at': ["7 years", "never"],
            f'leaks."{name}".parts': [1, 4],
        }
    cells[f'leaks."{first}".rate'] = ["0.01 per year"]
    cells[f'leaks."{first}".life'] = ["40 years"]
    cells[f'leaks."{first}".kind'] = ["flexible hose", "pipe joint"]
    cells[f'sensors."{scenario.sensor_names[0]}".fitted'] = [True, False]
    return cells


def _record(resolver, row, in_full):
    try:
        made = resolver.record_in_full(row) if in_full else resolver.record(row)
    except ScenarioError as error:
        return str(error)
    return [np.asarray(made[name]).tobytes() for name in made.dtype.names]


def _disagreeing(scenario, tries, seed):
    """Return how many of random rows give other records, and how many are refused."""
    cells = _columns(scenario)
    header = read_header(list(cells), scenario, "table")
    resolver = Resolver(Base.of(scenario, header.columns, None, True))
    choices = list(cells.values())
    draw = random.Random(seed)
    wrong = refused = 0
    for number in range(1, tries + 1):
        row = Row(
            number,
            str(number),
            draw.choice(scenario.designs),
            0,
            tuple(draw.choice(c) if draw.random() < 0.12 else None for c in choices),
        )
        quick, full = (_record(resolver, row, way) for way in (False, True))
        wrong += quick != full
        refused += isinstance(full, str)
    return wrong, refused


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_short_way_and_long_way_agree_to_the_bit(path):
    wrong, refused = _disagreeing(shutoffsim.load(path), 60, seed=3)
    assert wrong == 0
    assert 0 < refused < 50


def test_the_comparison_sees_a_wrong_short_way(house, monkeypatch):
    def careless(section, changes):
        return section.model_copy(
            update={key: section.__dict__[key] for key in changes if key in section.__dict__}
        )

    monkeypatch.setattr(settings, "_replaced", careless)
    assert _disagreeing(house, 40, seed=3)[0] > 0


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_empty_cells_give_the_scenario_itself(path):
    scenario = shutoffsim.load(path)
    header = read_header(["valve.age", "people.pattern"], scenario, "table")
    resolver = Resolver(Base.of(scenario, header.columns, None, False))
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
    header = read_header(["dwelling.floor_area"], scenario, "table")
    assert not header.columns[0].alone
    resolver = Resolver(Base.of(scenario, header.columns, None, False))
    for design in scenario.designs:
        made = resolver.record(Row(1, "1", design, 0, ("200 m2",)))
        assert made["zone_area"][0][0] == pytest.approx(200.0)
        assert made["floor_area"][0] == pytest.approx(200.0)


def test_a_named_zone_keeps_its_own_area():
    scenario = shutoffsim.loads(ONE_ZONE + '[zones.dwelling]\narea = "30 m2"\n')
    header = read_header(["dwelling.floor_area"], scenario, "table")
    assert header.columns[0].alone
    resolver = Resolver(Base.of(scenario, header.columns, None, False))
    made = resolver.record(Row(1, "1", "plain", 0, ("200 m2",)))
    assert made["zone_area"][0][0] == pytest.approx(30.0)


def test_laying_over_leaves_the_base_as_it_is(house):
    base = Base.of(house, (), None, False)
    before = repr(base.designs)
    from shutoffsim.scenario.schema import System

    merge(System, base.designs[house.reference], {"valve": {"age": "1 year"}})
    assert repr(base.designs) == before
