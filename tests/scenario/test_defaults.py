"""The library of defaults: complete, labelled, sourced and sound."""

import pytest

from shutoffsim.errors import ScenarioError
from shutoffsim.scenario import library, loads
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.structure import parts

ENTRIES = library.entries()
ONE = "[designs.a]\n"
LEAKY = 'leaks.hose.kind = "flexible hose"\n'


@pytest.mark.parametrize("path", list(ENTRIES), ids=".".join)
def test_every_default_says_where_it_comes_from(path):
    entry = ENTRIES[path]
    assert entry.evidence in library.EVIDENCE
    assert len(entry.source) > 3
    assert len(entry.drives) > 3


def test_what_is_called_published_or_secondary_names_a_document():
    tables = library._tables()

    def walk(node, path):
        if library.is_entry(node):
            if node["evidence"] in ("published", "secondary"):
                assert node.get("cite"), path
            assert set(node) <= {"value", "evidence", "source", "cite", "drives", "measure"}, path
        else:
            for key, child in node.items():
                walk(child, (*path, key))

    walk({key: value for key, value in tables.items() if key != "sources"}, ())


def test_what_is_partly_assumed_is_not_called_better():
    for path, entry in ENTRIES.items():
        if entry.evidence in ("published", "secondary", "common practice"):
            assert "assumed" not in entry.source, path
            assert "from memory" not in entry.source, path


def test_every_citation_is_used_and_every_use_is_listed():
    used = set()

    def walk(node):
        if library.is_entry(node):
            cite = node.get("cite", [])
            used.update([cite] if isinstance(cite, str) else cite)
        elif isinstance(node, dict):
            for child in node.values():
                walk(child)

    walk({k: v for k, v in library._tables().items() if k != "sources"})
    assert used == set(library.sources())


def test_every_default_has_a_place_in_the_schema():
    """A misspelt key in the library would silently never be used."""

    def known(model, path):
        part = parts(model).get(path[0])
        if part is None:
            return False
        return part.model is None if len(path) == 1 else known(part.model, path[1:])

    singular = {"leak": "leaks", "sensor": "sensors", "zone": "zones"}
    homes = {"leak_kinds": "leaks", "sensor_kinds": "sensors", "patterns": "people"}
    homes |= {"chemistries": "battery", "valve_types": "valve", "actuator_classes": "actuator"}
    homes |= {"mount_kinds": "mount", "grips": "override"}
    assert set(homes) == set(library.PRESET_TABLES)
    for path in ENTRIES:
        head, rest = path[0], path[1:]
        if head in homes:
            head, rest = homes[head], rest[1:]
        head = singular.get(head, head)
        model = System
        if head in singular.values():
            model, whole = parts(System)[head].model, rest
        else:
            whole = (head, *rest)
        assert known(model, whole), path


def _uses(table):
    texts = {
        "leak_kinds": '[leaks.a]\nkind = "{}"\n' + ONE,
        "sensor_kinds": '[leaks.a]\nkind = "pipe joint"\n[sensors.s]\nkind = "{}"\n' + ONE,
        "patterns": '[leaks.a]\nkind = "pipe joint"\n[people]\npattern = "{}"\n' + ONE,
        "chemistries": '[leaks.a]\nkind = "pipe joint"\n[battery]\nchemistry = "{}"\n' + ONE,
        "valve_types": '[leaks.a]\nkind = "pipe joint"\n[valve]\ntype = "{}"\n[actuator]\n'
        'class = "multi-turn geared motor, 12 N*m"\n' + ONE,
        "actuator_classes": '[leaks.a]\nkind = "pipe joint"\n[actuator]\nclass = "{}"\n' + ONE,
        "mount_kinds": '[leaks.a]\nkind = "pipe joint"\n[mount]\nkind = "{}"\n' + ONE,
        "grips": '[leaks.a]\nkind = "pipe joint"\n[override]\ngrip = "{}"\n' + ONE,
    }
    return [(texts[table], name) for name in library.presets(table)]


@pytest.mark.parametrize(
    ("text", "name"),
    [case for table in library.PRESET_TABLES for case in _uses(table)],
    ids=lambda value: value if "[" not in value else "",
)
def test_every_preset_completes_a_scenario(text, name):
    scenario = loads(text.format(name))
    assert len(scenario.parameters()) == 1


def test_data_sheet_values_of_actuators_go_together():
    for name in library.presets("actuator_classes"):
        text = f'[leaks.a]\nkind = "pipe joint"\n[actuator]\nclass = "{name}"\n'
        a = loads(text + ONE).design("a").system.actuator
        assert a.no_load_current < 0.15 * a.stall_current, name
        # Mechanical power at half speed against electrical power at half current: a geared motor
        # returns some of it, never more than it takes.
        out = a.stall_torque / 2 * a.no_load_speed / 2 * 6.2832
        into = a.rated_voltage * a.stall_current / 2
        assert 0.03 < out / into < 0.6, name
        # The winding survives one stall up to the cut-off at its rated voltage.
        rise = a.rated_voltage * a.stall_current * a.thermal_resistance
        heat = rise * (1 - 2.718281828 ** (-a.stall_cutoff / a.thermal_time))
        assert a.ambient + heat < a.winding_limit, name


def test_small_classes_are_named_after_their_torque():
    for name in library.presets("actuator_classes"):
        entry = library.find("actuator_classes", name, "stall_torque")
        if name.endswith("class"):
            assert name == f"{entry.value} class"
        elif "N*m" in name:
            assert name.endswith(entry.value)


WHOLE = 0.0165  # leaks a year in a whole dwelling, as fitted in docs/calibration.md

SHARES = {
    "pipe joint": 0.40 * 0.82 / 2,
    "pipe pinhole": 0.40 * 0.82 / 2,
    "frost burst": 0.40 * 0.18 / 1.6,
    "flexible hose": 0.25 / 3 / 4,
    "appliance hose": 0.25 * 2 / 3 / 2,
    "cistern supply": 0.15 / 2,
    "water heater": 0.12,
    "small appliance line": 0.08 / 2,
    "filter housing": 0.08 / 2,
}
USE = {"flexible hose": 20, "appliance hose": 15, "water heater": 15}  # years


@pytest.mark.parametrize("kind", list(library.presets("leak_kinds")))
def test_leak_rates_follow_from_the_arithmetic_in_the_sources(kind):
    """The mean hazard of a Weibull part over a use of T years is (T / scale)**shape / T."""
    rate = library.find("leak_kinds", kind, "rate")
    if rate is not None:
        found = float(rate.value.split()[0])
    else:
        shape = library.find("leak_kinds", kind, "life_shape") or library.find("leak", "life_shape")
        life = library.find("leak_kinds", kind, "life")
        found = (USE[kind] / float(life.value.split()[0])) ** shape.value / USE[kind]
    assert found == pytest.approx(WHOLE * SHARES[kind], rel=0.02)


def test_the_shares_of_a_whole_dwelling_add_up():
    parts_ = {"flexible hose": 4, "appliance hose": 2, "cistern supply": 2, "frost burst": 1.6}
    assert sum(parts_.get(kind, 1) * share for kind, share in SHARES.items()) == pytest.approx(1.0)


def test_costs_are_base_prices_times_one_fitted_level():
    level = [
        float(library.find("damage", key).value.split()[0]) / base
        for key, base in (("fixed_loss", 150), ("area_loss", 55), ("contents_loss", 12))
    ]
    assert max(level) / min(level) < 1.02
    for key in ("fixed_loss", "area_loss", "contents_loss"):
        assert f"{level[1]:.2f}" in library.find("damage", key).source


def test_values_to_measure_are_weakly_founded():
    measured = {path: entry for path, entry in ENTRIES.items() if entry.measure}
    assert len(measured) > 30
    for path, entry in measured.items():
        assert entry.evidence in library.WEAK, path
        assert len(entry.measure) > 10, path


def test_a_small_motor_brings_its_usual_supply():
    """Of its rated voltage, on a thin lead; a stated voltage decides the lead alone."""
    text = 'actuator.class = "10 kgf*cm class"\nbattery.fitted = true\n'
    small = loads(LEAKY + text + ONE).design("a").system
    assert (small.supply.voltage, small.supply.resistance) == (5.0, 0.4)
    assert small.battery.voltage == 5.0
    large = loads(LEAKY + ONE).design("a").system
    assert (large.supply.voltage, large.supply.resistance) == (12.0, 0.2)
    stated = loads(LEAKY + text + 'supply.voltage = "6 V"\n' + ONE)
    supply = stated.design("a").system.supply
    assert (supply.voltage, supply.resistance) == (6.0, 0.4)
    changed = loads(LEAKY + ONE).with_values(
        "a", {"actuator.class": "20 kgf*cm class", "battery.fitted": True}
    )
    assert changed.design("a").system.supply.voltage == 6.0


def test_a_supply_off_the_rating_must_be_meant():
    text = 'actuator.class = "10 kgf*cm class"\nsupply.voltage = "9 V"\n'
    with pytest.raises(ScenarioError, match="a quarter off the rated voltage"):
        loads(LEAKY + text + ONE)
    meant = loads(LEAKY + text + "actuator.off_rating = true\n" + ONE)
    assert meant.design("a").system.supply.voltage == 9.0
