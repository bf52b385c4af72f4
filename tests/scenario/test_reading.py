"""Reading: what is wrong is said with its place, what was found, expected, and what to do."""

import pytest

from shutoffsim.errors import ScenarioError, ShutoffError
from shutoffsim.scenario import Scenario, load, loads
from shutoffsim.scenario.read import LARGEST_FILE

DESIGN = '\n[designs.one]\nelement.kind = "none"\n'
KIND = 'leaks.hose.kind = "flexible hose"\n'
LEAK = '\n[leaks.hose]\nkind = "flexible hose"\n'


def problems(text):
    with pytest.raises(ScenarioError) as caught:
        loads(text, where="my.toml")
    return caught.value.problems


def only(text):
    found = problems(text)
    assert len(found) == 1, [str(p) for p in found]
    assert found[0].where == "my.toml"
    return found[0]


def test_ten_lines_are_enough(short):
    assert isinstance(short, Scenario)
    assert short.designs == ("no automation", "clamp", "battery")
    assert short.reference == "no automation"
    assert short.currency == "EUR"
    assert short.service_life == pytest.approx(10 * 365.25 * 86400)


# --- files ------------------------------------------------------------------------------------


def test_missing_file(tmp_path):
    with pytest.raises(ScenarioError, match="no such file"):
        load(tmp_path / "nothing.toml")


def test_folder(tmp_path):
    with pytest.raises(ScenarioError, match="this is a folder"):
        load(tmp_path)


def test_path_that_cannot_be():
    with pytest.raises(ScenarioError, match=r"cannot be read|no such file"):
        load("a\0b")
    with pytest.raises(ScenarioError, match=r"cannot be read|no such file"):
        load("x" * 5000)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "the file is empty"),
        (b"  \n\n", "the file is empty"),
        (b"\xff\xfe\x00a", "not a text in UTF-8"),
        (b"name = 'a\0b'", "binary"),
        (b"#" * (LARGEST_FILE + 1), "too big"),
    ],
)
def test_files_that_are_no_text(tmp_path, data, message):
    file = tmp_path / "a.toml"
    file.write_bytes(data)
    with pytest.raises(ScenarioError, match=message) as caught:
        load(file)
    assert caught.value.where == str(file)
    assert caught.value.exit_code == 2


def test_byte_order_mark_and_windows_line_ends_are_fine(tmp_path, short_text):
    file = tmp_path / "a.toml"
    file.write_bytes(b"\xef\xbb\xbf" + short_text.replace("\n", "\r\n").encode())
    assert load(file).hash == loads(short_text).hash


def test_wrong_toml_names_the_line():
    problem = only('name = "a"\n[dwelling\n')
    assert problem.line == 2
    assert "not TOML" in problem.message
    assert problem.found == "[dwelling"


def test_the_same_key_twice():
    assert "used twice" in only("a = 1\na = 2\n").message
    assert "used twice" in only("[leaks.a]\n[leaks.a]\n").message


def test_deep_nesting_is_refused():
    assert problems("a = " + "[" * 20000)
    assert problems("a = " + "{b = " * 5000)
    assert problems("a = 1" + "0" * 5000)


# --- keys and values --------------------------------------------------------------------------


def test_unknown_key_names_the_nearest():
    problem = only('[dwelling]\nfloor_aera = "80 m2"' + LEAK + DESIGN)
    assert problem.key == "dwelling.floor_aera"
    assert problem.line == 2
    assert problem.hint == 'did you mean "floor_area"?'


def test_unknown_section_names_the_nearest():
    assert only("[batery]\n" + LEAK + DESIGN).hint == 'did you mean "battery"?'


@pytest.mark.parametrize("key", ["short_chance", "short_flow"])
def test_a_solenoid_has_no_travel_that_could_end_short(key):
    """A coil opens or it does not; what a bad seat lets by is the seat's."""
    assert only(f"[solenoid]\n{key} = 0.5" + LEAK + DESIGN).key == f"solenoid.{key}"


def test_unknown_key_inside_a_design():
    problem = only(LEAK + DESIGN + 'batery.capacity = "3 Ah"\n')
    assert problem.key == "designs.one.batery"
    assert problem.hint == 'did you mean "battery"?'


@pytest.mark.parametrize(
    ("line", "key", "words"),
    [
        ('dwelling.pressure = "1,5 bar"', "dwelling.pressure", "point, not a comma"),
        ("dwelling.pressure = 3", "dwelling.pressure", "add the unit and quotes"),
        ('dwelling.pressure = "3 m2"', "dwelling.pressure", "for an area"),
        ('dwelling.pressure = "-3 bar"', "dwelling.pressure", "above 0 bar"),
        ('dwelling.floor_area = "0 m2"', "dwelling.floor_area", "above 0 m2"),
        ("dwelling.units_below = -1", "dwelling.units_below", "at least 0"),
        ("dwelling.units_below = 1.5", "dwelling.units_below", "whole number"),
        ("dwelling.units_below = true", "dwelling.units_below", "whole number"),
        ('dwelling.units_below = "1"', "dwelling.units_below", "whole number"),
        ('battery.fitted = "yes"', "battery.fitted", "true or false"),
        ("battery.fitted = 1", "battery.fitted", "true or false"),
        ('battery.capacity = "2.6 A"', "battery.capacity", "energy"),
        ('battery.capacity = "-1 Wh"', "battery.capacity", "at least 0"),
        ("leaks.hose.seep_share = 1.2", "leaks.hose.seep_share", "at most 1"),
        ('leaks.hose.seep_share = "120 %"', "leaks.hose.seep_share", "at most 1"),
        ("leaks.hose.seep_share = nan", "leaks.hose.seep_share", "not a usable number"),
        ('leaks.hose.rate = "-1 per year"', "leaks.hose.rate", "at least 0 per year"),
        ('leaks.hose.season = "wintr"', "leaks.hose.season", 'did you mean "winter"'),
        ('leaks.hose.kind = "flexible hoze"', "leaks.hose.kind", 'mean "flexible hose"'),
        ("leaks.hose.parts = 0", "leaks.hose.parts", "at least 1"),
        ('valve.type = "ball"', "valve.type", "one of"),
        ("valve = 5", "valve", "a table was expected"),
        ("leaks.hose = 5", "leaks.hose", "a table was expected"),
        ('supply.voltage = "0 V"', "supply.voltage", "above 0 V"),
        ('actuator.rated_voltage = "0 V"', "actuator.rated_voltage", "above 0 V"),
        ('actuator.travel = "never ever"', "actuator.travel", "a number and its unit"),
        ("mains.outage_rate = 1979-05-27", "mains.outage_rate", "the wrong kind"),
        ("mains.outage_rate = [1]", "mains.outage_rate", "a list"),
        ('damage.fixed_loss = "100 USD"', "damage.fixed_loss", "not converted"),
        ('damage.fixed_loss = "100 €"', "damage.fixed_loss", "currency signs"),
        ("damage.fixed_loss = 100", "damage.fixed_loss", "without a currency"),
        ('damage.fixed_loss = "-5 EUR"', "damage.fixed_loss", "at least 0"),
        ('people.week.sunday = "away"', "people.week.sunday", "not a day"),
        ('people.week.sunday = {wake = "7:15", sleep = "23:00"}', "people.week.sunday", "half"),
        ('people.week.sunday = {wake = "9:00", sleep = "8:00"}', "people.week.sunday", "order"),
        ('people.week.sunday = {open = "9:00"}', "people.week.sunday", "not a day"),
        (
            'people.week.sunday = {wake = "7:00", sleep = "23:00", leave = "9:00"}',
            "people.week.sunday",
            "leave and return together",
        ),
        (
            'people.week.sunday = {wake = "7:00", sleep = "23:00", leave = "9:00", '
            'return = "10:00", out_chance = 2}',
            "people.week.sunday",
            "between 0 and 1",
        ),
        ('weather.coldest_day = "31 February"', "weather.coldest_day", "no such day"),
        ('weather.coldest_day = "20.1."', "weather.coldest_day", "not a date"),
        ("valve.closing_share = {median = 0.6, spread = 1.2}", "valve.closing_share", "even"),
        ('valve.closing_share = {low = 0.6, high = 1.2, shape = "even"}', "valve", "at most 1"),
        ('valve.breakaway = {median = "4 V", spread = 1.5}', "valve.breakaway", "for a voltage"),
        ('valve.breakaway = {median = "4 N*m"}', "valve.breakaway", "one of {median, spread}"),
        ('service_life = "0 years"', "service_life", "at least 1 days"),
        ('mains.dip_rate = "1 per s"', "mains.dip_rate", "at most 4.17 per h"),
        ('people.stay = "1 s"', "people.stay", "a mean from 1 h on"),
        ('exercise.interval = "1 min"', "exercise.interval", "at least 1 h"),
        ('dwelling.full_bore_flow = "1e-300 L/min"', "dwelling.full_bore_flow", "above 0"),
        ('valve.age = "1e308 years"', "valve.age", "too large"),
        ('people.trip = {median = "1e300 days", spread = 100}', "people.trip", "too large"),
        ('currency = "euro"', "currency", "three capital letters"),
        ("name = 5", "name", "not a usable name"),
        ("description = 5", "description", "not a text"),
    ],
)
def test_wrong_values(line, key, words):
    kind = "" if line.startswith(("leaks.hose = ", "leaks.hose.kind")) else KIND
    problem = only(f"{line}\n{kind}{DESIGN}")
    assert problem.key.startswith(key)
    assert problem.line == 1
    assert words in str(problem)


# --- contradictions ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lines", "key", "words"),
    [
        (
            'actuator.stall_current = "0.01 A"',
            "actuator.stall_current",
            "greater than the no-load current",
        ),
        ('actuator.winding_limit = "50 degC"\nactuator.ambient = "60 degC"', "actuator", "burn"),
        ('controller.brown_out = "13 V"', "controller.brown_out", "never run from the supply"),
        (
            'battery.fitted = true\nbattery.voltage = "3 V"\nactuator.off_rating = true',
            "controller.brown_out",
            "never run from the battery",
        ),
        (
            'supply.voltage = "9 V"\nactuator.class = "10 kgf*cm class"',
            "supply.voltage",
            "a quarter off the rated voltage",
        ),
        (
            'battery.fitted = true\nbattery.voltage = "7.4 V"',
            "battery.voltage",
            "a quarter off the rated voltage",
        ),
        (
            'damage.wet_start = "3 days"\ndamage.wet_full = "2 days"',
            "damage.wet_full",
            "after wet_start",
        ),
        (
            'exercise.interval = "1 h"\nexercise.outage = "2 h"',
            "exercise.outage",
            "before the next",
        ),
        ("detection.votes = 2\n[sensors.a]", "detection.votes", "more votes than sensors"),
        (
            'flow_rule = {fitted = true, time = "9 s"}',
            "flow_rule.time",
            "trips whenever a tap is opened",
        ),
        (
            'flow_rule = {fitted = true, volume_away = "50 mL"}',
            "flow_rule.volume_away",
            "trips whenever a tap is opened",
        ),
        ('valve.type = "multi-turn stop valve"', "actuator.travel", "cannot turn far enough"),
        ('zones.bath.area = "500 m2"', "zones.bath.area", "larger than the dwelling"),
        (
            'dwelling.full_bore_flow = "30 L/min"\ndwelling.supply_pipe.length = "10 m"',
            "dwelling.supply_pipe",
            "only one of",
        ),
        (
            'dwelling.supply_pipe.bore = "10 mm"\ndwelling.supply_pipe.roughness = "2 mm"',
            "dwelling.supply_pipe.roughness",
            "too rough",
        ),
    ],
)
def test_values_that_contradict_each_other(lines, key, words):
    problem = only(lines + LEAK + "[designs.one]\n")
    assert problem.key.startswith(key)
    assert words in str(problem)


def test_leak_in_a_zone_that_does_not_exist():
    problem = only('[zones.kitchen]\n[leaks.hose]\nkind="flexible hose"\nzone="kitchn"' + DESIGN)
    assert problem.key == "leaks.hose.zone"
    assert problem.hint == 'did you mean "kitchen"?'


def test_sensor_in_a_zone_that_does_not_exist():
    problem = only('[zones.kitchen]\n[sensors.a]\nzone = "bath"' + LEAK + DESIGN)
    assert problem.key == "sensors.a.zone"
    assert 'one of "kitchen"' in problem.expected


def test_a_zone_that_a_design_drops():
    problem = only("[zones.kitchen]\n[zones.bath]\n[leaks.a]\nkind = 'pipe joint'\nzone = 'bath'\n"
                   "[designs.one]\nzones.bath.fitted = false\n")  # fmt: skip
    assert problem.message == "there is no such zone"


def test_zone_must_be_named_where_there_are_several():
    problem = only("[zones.kitchen]\n[zones.bath]" + LEAK + DESIGN)
    assert problem.key == "leaks.hose.zone"
    assert '"kitchen", "bath"' in problem.expected


def test_leak_without_kind_needs_rate_and_opening():
    found = problems("[leaks.odd]" + DESIGN)
    assert {p.message for p in found} == {
        "rate or life is missing",
        "hole_diameter, hole_area or open_end_flow is missing",
    }


def test_two_ways_to_say_one_thing():
    text = LEAK + 'rate = "0.01 per year"\nlife = "20 years"' + DESIGN
    assert "only one of rate or life" in str(only(text))


def test_diameter_of_a_shape_that_gives_no_area():
    text = LEAK + 'hole_diameter = {low = "1 mm", high = "2 mm", shape = "even"}' + DESIGN
    assert "fixed or log-normal only" in str(only(text))


def test_no_design():
    assert "there is no design" in str(only(LEAK))
    assert "there is no design" in str(only(LEAK + "[designs]\n"))


def test_no_leak():
    assert "there is no leak" in str(only("name = 'a'" + DESIGN))
    assert "there is no leak" in str(only(LEAK + "fitted = false" + DESIGN))


def test_names():
    assert "not a usable name" in str(only(f'[leaks."{"x" * 81}"]\nkind = "pipe joint"' + DESIGN))
    assert "not a usable name" in str(only('[leaks."a\\nb"]\nkind = "pipe joint"' + DESIGN))
    assert "not a usable name" in str(only('[leaks.""]\nkind = "pipe joint"' + DESIGN))
    assert "not a usable name" in str(only(LEAK + '[designs." a"]\n'))
    twin = LEAK + '[leaks.Hose]\nkind = "pipe joint"' + DESIGN
    assert '"hose" and "Hose"' in str(only(twin))


def test_counts():
    many = "".join(f'[leaks.a{i}]\nkind = "pipe joint"\n' for i in range(17))
    assert "too many leaks" in str(only(many + DESIGN))
    assert "at most 12" in str(
        only("".join(f"[sensors.a{i}]\n" for i in range(13)) + LEAK + DESIGN)
    )
    designs = "".join(f"[designs.a{i}]\n" for i in range(101))
    assert "too many designs" in str(problems(LEAK + designs)[0])


def test_defaults_of_amounts_hold_for_similar_currencies_only():
    found = problems("currency = 'SEK'" + LEAK + DESIGN)
    assert {p.key for p in found} >= {"damage.fixed_loss", "insurance.deductible"}
    assert "no default in SEK" in found[0].message
    assert loads("currency = 'CHF'" + LEAK + DESIGN).currency == "CHF"


def test_all_problems_are_told_at_once_in_the_order_of_the_file():
    found = problems(
        'name = ""\n[dwelling]\npressure = "3 V"\nfloor_aera = "1 m2"\n[designs.a]\nlike = "b"\n'
        "[designs.c]\nbattery.fitted = 3\n[leaks.x]\nkind = 7\n"
    )
    assert [p.key for p in found] == [
        "name",
        "dwelling.pressure",
        "dwelling.floor_aera",
        "designs.a.like",
        "designs.c.battery.fitted",
        "leaks.x.kind",
    ]
    assert [p.line for p in found] == [1, 3, 4, 6, 8, 10]


def test_a_problem_common_to_all_designs_is_told_once():
    assert only('dwelling.pressure = "3 V"' + LEAK + DESIGN + "[designs.two]\n[designs.three]\n")


def test_the_text_of_an_error_has_all_parts():
    text = str(only('dwelling.pressure = "1,5 bar"' + LEAK + DESIGN))
    assert text.splitlines()[0] == "my.toml, line 1, dwelling.pressure: this is not readable"
    assert [line.split()[0] for line in text.splitlines()[1:]] == ["found", "expected", "do"]
    assert issubclass(ScenarioError, ShutoffError)


def test_legal_absurdities_pass():
    scenario = loads(
        LEAK
        + 'rate = "0 per year"\n[designs.one]\nbattery.fitted = true\n'
        + 'battery.capacity = "100000 kWh"\nexercise.interval = "never"\n'
    )
    assert scenario.sensor_names == ()
    assert scenario.parameters()[0].source_rate[0] == 0.0
