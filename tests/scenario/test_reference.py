"""The generated pages are up to date, and the JSON Schema agrees with the reader."""

import doctest
import importlib
import pkgutil
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest

import shutoffsim.scenario
from makers import reference
from makers.schema import json_schema
from shutoffsim.scenario import library, load, loads, starter
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.structure import parts

ROOT = Path(__file__).parents[2]
FILES = sorted((ROOT / "scenarios").glob("*.toml"))
# The reference cases are for calibration; the others are examples to start from.
EXAMPLES = [file for file in FILES if not file.stem.startswith("reference_")]
VALIDATOR = jsonschema.Draft202012Validator(json_schema())


@pytest.mark.parametrize("name", list(reference.pages()))
def test_pages_in_docs_are_fresh(name):
    stored = (ROOT / "docs" / name).read_text(encoding="utf-8")
    assert stored == reference.pages()[name], "run python docs/refresh.py reference"


def test_every_key_is_in_the_reference_with_a_description():
    page = reference.reference_page()

    def walk(model):
        for key, part in parts(model).items():
            description = model.model_fields[part.field].description
            assert description, (model, key)
            assert description in page, (model, key)
            if part.model is not None:
                walk(part.model)

    walk(System)
    assert "**required**" not in page


def test_what_nobody_knows_lists_every_assumption_once_and_no_other():
    page = reference.unknowns_page()
    entries = library.entries().values()
    assumed = [entry for entry in entries if entry.evidence == "assumption"]
    measured, others = page.split("## Assumed as well")
    rows = [line for line in measured.splitlines() if line.startswith("| `")]
    listed = [line for line in others.splitlines() if line.startswith("**")]
    keys = sum(len(re.findall(r"`[^`]+`", line)) for line in listed)
    assert len(rows) + keys == len(assumed)
    assert all(entry.measure in page for entry in assumed)
    assert len(rows) == sum(bool(entry.measure) for entry in entries), "measured, yet not assumed"


def test_schema_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(json_schema())


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_schema_accepts_the_example_scenarios(file):
    VALIDATOR.validate(tomllib.loads(file.read_text(encoding="utf-8")))


def test_schema_accepts_the_starter():
    VALIDATOR.validate(tomllib.loads(starter()))


@pytest.mark.parametrize(
    "text",
    [
        "[leaks.a]\n",
        "[leaks.a]\n[designs.a]\nlike = 5\n",
        '[leaks.a]\nkind = "nothing"\n[designs.a]\n',
        "[leaks.a]\n[dwelling]\npressure = 3\n[designs.a]\n",
        '[leaks.a]\n[dwelling]\npressure = "1,5 bar"\n[designs.a]\n',
        '[leaks.a]\n[dwelling]\npressure = {median = "3 bar"}\n[designs.a]\n',
        '[leaks.a]\n[dwelling]\nfloor_aera = "3 m2"\n[designs.a]\n',
        '[leaks.a]\n[designs.a]\nbattery.fitted = "yes"\n',
        '[leaks.a]\n[designs.a]\nservice_life = "2 years"\n',
        "[leaks.a]\nseep_share = '2 bar'\n[designs.a]\n",
    ],
)
def test_schema_refuses_what_the_reader_refuses(text):
    assert not VALIDATOR.is_valid(tomllib.loads(text))
    with pytest.raises(shutoffsim.errors.ScenarioError):
        loads(text)


def test_starter_loads_and_is_explained():
    scenario = loads(starter())
    assert scenario.reference == "no automation"
    assert len(scenario.designs) >= 3
    assert starter().count("#") > 10


@pytest.mark.parametrize("file", EXAMPLES, ids=lambda f: f.stem)
def test_example_scenarios_are_complete(file):
    scenario = load(file)
    assert len(scenario.designs) >= 7
    assert scenario.reference == "no automation"
    assert all(scenario.design(name).description for name in scenario.designs)
    assert scenario.parameters().shape == (len(scenario.designs),)


def test_the_hoses_on_time_differ_from_the_reference_in_hoses_only():
    scenario = load(ROOT / "scenarios" / "terraced_house.toml")
    keys = [key for key in scenario.ledger()["key"] if key.startswith('designs."hoses on time"')]
    assert keys
    assert all(".leaks." in key or ".costs." in key for key in keys)


def test_importing_the_package_is_cheap():
    code = (
        "import sys, shutoffsim.scenario\n"
        "heavy = {'pandas', 'pint', 'fluids', 'numba', 'pydantic'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
        "shutoffsim.scenario.loads(shutoffsim.scenario.starter())\n"
        "heavy -= {'pydantic'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.split("\n")[:2] == ["[]", "[]"]


def test_public_names():
    for name in shutoffsim.scenario.__all__:
        assert getattr(shutoffsim.scenario, name).__doc__
        assert name in dir(shutoffsim.scenario)
    with pytest.raises(AttributeError, match="no attribute"):
        getattr(shutoffsim.scenario, "nothing")  # noqa: B009


def _modules():
    names = ["shutoffsim.errors", "shutoffsim.units"]
    package = shutoffsim.scenario
    return names + [m.name for m in pkgutil.walk_packages(package.__path__, package.__name__ + ".")]


@pytest.mark.parametrize("name", _modules())
def test_examples_in_docstrings(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0
