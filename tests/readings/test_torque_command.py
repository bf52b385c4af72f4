"""The command, the part of a scenario that it writes, and its figures."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import shutoffsim
import shutoffsim.cli.fit_torque
from shutoffsim.cli.app import app
from shutoffsim.model.quantiles import quantile
from shutoffsim.report.figures import FigureFolder
from shutoffsim.report.fit_torque_figure import FIGURES, draw_figures
from shutoffsim.study.fit_torque import fit_torque

ROOT = Path(__file__).resolve().parents[2]
EXAMPLE = ROOT / "docs" / "torque-readings.csv"
COTTAGE = ROOT / "scenarios" / "holiday_cottage.toml"
DESIGN = "plus more torque"
WEEK, YEAR = 7 * 86400.0, 365.25 * 86400.0
OPENING = """date,direction,torque,idle,age
2026-01-10,opening,9 N*m,3 years,15 years
2026-01-10,opening,6 N*m,0 days,15 years
2026-02-10,opening,7 N*m,,
"""


def run(*words):
    return CliRunner().invoke(app, ["fit-torque", *map(str, words)], env={"COLUMNS": "80"})


def run_example(*words):
    return run(EXAMPLE, "--scenario", COTTAGE, "--design", DESIGN, *words)


@pytest.fixture(scope="module")
def example():
    return fit_torque(EXAMPLE, shutoffsim.load(COTTAGE), DESIGN)


def paste(fragment, scenario=None):
    """Return the parameters of a scenario whose valve is that of a fragment."""
    text = '[leaks.hose]\nkind = "appliance hose"\n[designs.one]\n' + fragment
    return shutoffsim.loads(text).parameters()[0]


def closing_quantiles(p, years, weeks, levels=(0.05, 0.5, 0.95)):
    """Return quantiles of torque to close as a scenario draws it."""
    rng = np.random.default_rng(1)
    u = rng.random((3, 20000))
    level, factor, share = (
        np.array([quantile(dist, x) for x in row])
        for dist, row in zip(
            (p.valve_breakaway, p.valve_age_factor, p.valve_closing_share), u, strict=True
        )
    )
    age = (p.valve_age + years * YEAR) / p.valve_age_reference
    grown = level * (1.0 + (factor - 1.0) * age)
    return np.quantile(
        grown * min(1.0 + p.valve_idle_growth * math.log1p(weeks), 3.0) * share, levels
    )


@pytest.mark.parametrize(("years", "weeks"), [(0.0, 4.3), (0.0, 26.0), (10.0, 4.3), (10.0, 26.0)])
def test_fragment_says_what_was_learnt(example, years, weeks):
    found = closing_quantiles(paste(example.fragment()), years, weeks)
    draws = example.belief.torque(example.age + years * YEAR, weeks * WEEK, closing=True)
    rng = np.random.default_rng(2)
    strokes = draws * np.exp(example.belief.scatter * rng.standard_normal(len(draws)))
    expected = np.quantile(strokes, [0.05, 0.5, 0.95])
    assert found[1:] == pytest.approx(expected[1:], rel=0.06)
    # The easy side decides nothing, and in years has a longer tail than a scenario can tell.
    assert found[0] == pytest.approx(expected[0], rel=0.2 if years else 0.06)


def test_fragment_of_opening_leaves_the_share_alone(tmp_path):
    path = tmp_path / "opening.csv"
    path.write_text(OPENING)
    fit = fit_torque(path)
    assert "closing_share" not in fit.fragment()
    assert any("No reading is of closing" in note for note in fit.notes)
    found = closing_quantiles(paste(fit.fragment()), 0.0, 4.3)
    draws = fit.belief.torque(fit.age, 4.3 * WEEK, closing=True)
    assert found == pytest.approx(np.quantile(draws, [0.05, 0.5, 0.95]), rel=0.08)


def test_command_writes_what_it_learnt(example, tmp_path):
    part, result = tmp_path / "valve.toml", tmp_path / "fit.json"
    done = run_example("--fragment", part, "--json", result, "--figures", tmp_path)
    assert done.exit_code == 0, done.output
    now = example.predictions[0].closing
    assert f"takes about {now.value:.3g} N*m to close" in done.output
    shown = " ".join(done.output.split())
    assert example.cautions
    assert all(caution in shown for caution in example.cautions)
    assert part.read_text() == example.fragment()
    assert set(tomllib.loads(part.read_text())) == {"valve"}
    assert part.read_text() in done.output
    told = json.loads(result.read_text())
    assert told["predictions"][0]["closing"]["value"] == now.value
    assert [reading["outcome"] for reading in told["readings"]].count("did not move") == 1
    names = {f"{name}.{kind}" for name in FIGURES for kind in ("svg", "png")}
    assert names <= {path.name for path in tmp_path.iterdir()}


def test_check_accepts_a_scenario_with_the_fragment(example, tmp_path):
    file = tmp_path / "mine.toml"
    text = COTTAGE.read_text()
    start = text.index("[valve]")
    end = text.index("\n[", start)
    file.write_text(text[:start] + example.fragment() + text[end:])
    done = CliRunner().invoke(app, ["check", str(file)])
    assert done.exit_code == 0, done.output
    p = shutoffsim.load(file).parameters([DESIGN])[0]
    assert math.exp(p.valve_breakaway[1]) == pytest.approx(
        float(np.median(example.belief.torque(example.age, 0.0))), rel=0.05
    )


def test_same_fit_same_figures(example, tmp_path):
    drawn = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        with FigureFolder(tmp_path / name, FIGURES) as folder:
            folder.write(draw_figures(example))
        drawn.append({path.name: path.read_bytes() for path in (tmp_path / name).iterdir()})
    assert drawn[0] == drawn[1]
    assert len(drawn[0]) == 2 * len(FIGURES)


@pytest.mark.parametrize(
    ("content", "words", "message"),
    [
        ("", (), "the file is empty"),
        (OPENING.replace("9 N*m", "9 kg"), (), 'line 2, column "torque"'),
        (OPENING, ("--valve", "attic"), "there are no readings of this valve"),
        (OPENING, ("--design", "x"), "a design needs a scenario"),
        (OPENING, ("--scenario", COTTAGE, "--design", "x"), "there is no such design"),
    ],
)
def test_bad_input_ends_with_a_message_and_no_file(content, words, message, tmp_path):
    file, part = tmp_path / "readings.csv", tmp_path / "valve.toml"
    file.write_text(content)
    done = run(file, *words, "--fragment", part)
    assert done.exit_code == 2
    assert message in done.output
    assert "Traceback" not in done.output
    assert [path.name for path in tmp_path.iterdir()] == ["readings.csv"]


def test_outputs_do_not_overwrite_the_readings(tmp_path):
    file = tmp_path / "readings.csv"
    file.write_text(OPENING)
    done = run(file, "--fragment", file)
    assert done.exit_code == 2
    assert "would overwrite" in done.output
    assert file.read_text() == OPENING
