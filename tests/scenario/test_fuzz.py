"""Whatever stands in a file, the answer is a scenario or a ScenarioError."""

import string
from pathlib import Path

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from shutoffsim.errors import ScenarioError
from shutoffsim.scenario import Scenario, loads, starter
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.structure import parts

FILES = Path(__file__).parents[2] / "scenarios"
TEXTS = [starter(), *(f.read_text(encoding="utf-8") for f in sorted(FILES.glob("*.toml")))]
QUICK = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def check(text):
    scenario, error = None, None
    try:
        scenario = loads(text)
    except ScenarioError as caught:
        error = caught
    if error is not None:
        assert str(error)
        assert all(problem.message for problem in error.problems)
        return
    assert isinstance(scenario, Scenario)
    assert len(scenario.parameters()) == len(scenario.designs)
    assert len(scenario.hash) == 16


@QUICK
@given(st.binary(max_size=300))
def test_any_bytes(data):
    check(data)


@QUICK
@given(st.text(max_size=300))
@example("\ud800")
@example("a = 1e999")
@example("[[designs]]")
@example("[leaks]\n'a' = {}\n[designs]\n'' = {}")
def test_any_text(text):
    check(text)


@QUICK
@given(st.sampled_from(TEXTS), st.data())
def test_damaged_scenarios(text, data):
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        gone = data.draw(st.integers(0, 12))
        new = data.draw(st.text(string.printable + "é\0½€", max_size=6))
        text = text[:at] + new + text[at + gone :]
    check(text)


def keys(model, path=()):
    for key, part in parts(model).items():
        yield (*path, key)
        if part.model is not None:
            yield from keys(part.model, (*path, key, *(["a"] if part.kind == "named" else [])))


KEYS = [*keys(System), ("name",), ("currency",), ("description",), ("designs", "d", "like")]
KEYS += [("designs", "d", *path) for path in keys(System)] + [("designs", "d"), ("odd",)]
UNITS = ["", " bar", " N*m", " years", " %", " per year", " EUR", " m2", " L/min", " V", " Ah"]
SCALARS = st.one_of(
    st.integers(),
    st.floats(),
    st.booleans(),
    st.text(max_size=8),
    st.dates(),
    st.just("never"),
    st.builds(lambda x, u: f"{x}{u}", st.floats(-10, 1e9), st.sampled_from(UNITS)),
    st.builds(lambda x, u: f"{x}{u}", st.integers(0, 99), st.sampled_from(UNITS)),
)
WORDS = "median spread low high shape mean least likely most life wake sleep leave return open"
TABLES = st.dictionaries(
    st.sampled_from([*WORDS.split(), "close", "fitted", "zone", "a"]), SCALARS, max_size=4
)


def literal(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {literal(v)}" for key, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(literal, value)) + "]"
    if isinstance(value, float):
        return repr(value) if "e" in repr(value) or "." in repr(value) else str(value)
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08x}" for c in value if ord(c) < 0xD800) + '"'
    return str(value)


VALUES = st.one_of(SCALARS, TABLES, st.lists(SCALARS, max_size=2))
COMMON = '\n[leaks.a]\nkind = "pipe joint"\n[designs.d]\n'


@settings(QUICK, max_examples=300)
@given(st.sampled_from(KEYS), VALUES)
@example(("leaks", "a", "zone"), {"a": 1})
@example(("leaks", "a", "kind"), {"a": 1})
@example(("zones",), [1])
@example(("zones", "a"), 5)
@example(("people", "week"), 3)
@example(("designs", "d", "leaks"), 3)
@example(("designs", "d", "leaks", "a"), 3)
@example(("motorised_valve", "valve"), "x")
def test_any_value_under_any_key(path, value):
    dotted = ".".join(f'"{key}"' for key in path)
    check(f"{dotted} = {literal(value)}{COMMON}")
    first = f"{dotted} = {literal(value)}\n"
    check(first + '\nleaks.b.kind = "flexible hose"\ndesigns.e.valve.age = "3 years"\n')
    check(f'{first}leaks.a.kind = "pipe joint"\ndesigns.d.battery.fitted = true\n')
