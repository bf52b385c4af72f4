"""The supply pipe: friction solved at each flow, against the fluids library and by hand."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from checks import perfect
from fluids.friction import friction_factor
from typer.testing import CliRunner

import shutoffsim
from shutoffsim.cli.app import app
from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.errors import ScenarioError
from shutoffsim.model.pipe import pipe_flow
from shutoffsim.scenario.pipes import density, full_bore_flow, viscosity
from shutoffsim.scenario.schema.water import SupplyPipe

RHO, MU = 999.7, 1.307e-3  # of water at 10 degC
BAR = 1e5
LITRE_A_MINUTE = 1e-3 / 60


def needed(flow, resistance, length, bore, roughness, fittings):
    """Return the pressure that a flow takes, with the friction factor of the fluids library."""
    velocity = flow / (math.pi / 4 * bore**2)
    factor = friction_factor(Re=RHO * velocity * bore / MU, eD=roughness / bore)
    head = (factor * length / bore + fittings + 1) * RHO * velocity**2 / 2
    return head + resistance * flow**2


@pytest.mark.parametrize("bar", [0.1, 1.5, 3.5, 6, 16])
@pytest.mark.parametrize("hole", [None, 2e-3, 8e-3])
def test_pressure_is_used_up_by_friction_as_the_fluids_library_has_it(bar, hole):
    resistance = 0.0 if hole is None else RHO / 2 / (0.62 * math.pi / 4 * hole**2) ** 2
    for length, bore, roughness, fittings in itertools.product(
        (0.5, 28.0, 400.0), (0.012, 0.02, 0.05), (0.0, 1e-5, 5e-4), (0.0, 18.0)
    ):
        pipe = (length, bore, roughness, fittings)
        flow = pipe_flow(bar * BAR, resistance, *pipe, 0.0, RHO, MU)
        reynolds = flow / (math.pi / 4 * bore**2) * RHO * bore / MU
        if reynolds == pytest.approx(2040.0, rel=1e-9):  # it is turning
            assert needed(flow * (1 - 1e-6), resistance, *pipe) < bar * BAR
            assert needed(flow * (1 + 1e-6), resistance, *pipe) > bar * BAR
        else:
            assert needed(flow, resistance, *pipe) == pytest.approx(bar * BAR, rel=1e-9)


def test_a_pressure_between_laminar_and_turbulent_turns_the_flow():
    pipe = (60.0, 0.004, 0.0, 0.0)
    turning = 2040 * MU / (RHO * 0.004) * math.pi / 4 * 0.004**2
    laminar, turbulent = (needed(turning * x, 0.0, *pipe) for x in (0.999999, 1.000001))
    assert turbulent > 1.4 * laminar
    for pressure in (1.1 * laminar, 0.9 * turbulent):
        assert pipe_flow(pressure, 0.0, *pipe, 0.0, RHO, MU) == pytest.approx(turning, rel=1e-12)
    pressures = np.geomspace(0.1 * laminar, 10 * turbulent, 400)
    flows = [pipe_flow(x, 0.0, *pipe, 0.0, RHO, MU) for x in pressures]
    assert np.all(np.diff(flows) >= 0.0)


def test_a_stated_friction_factor_by_hand():
    # 0.02 x 20 m / 20 mm = 20 along the pipe, 9 of fittings, 1 at the exit: 30 velocity heads.
    pipe = SupplyPipe(length="20 m", bore="20 mm", friction_factor=0.02, fittings_k=9)
    velocity = math.sqrt(2 * 3 * BAR / (30 * RHO))
    found = full_bore_flow(pipe, 3 * BAR)
    assert found == pytest.approx(velocity * math.pi / 4 * 0.02**2, rel=1e-5)
    assert full_bore_flow(pipe, 12 * BAR) == pytest.approx(2 * found, rel=1e-12)


def test_slow_flow_in_a_long_thin_pipe_is_hagens_and_poiseuilles():
    expected = math.pi * 0.002**4 * 3 * BAR / (128 * MU * 100)
    found = pipe_flow(3 * BAR, 0.0, 100.0, 0.002, 0.0, 0.0, 0.0, RHO, MU)
    assert found == pytest.approx(expected, rel=2e-4)  # less the velocity head
    assert found < expected


@pytest.mark.parametrize("bar", [1.5, 3.5, 6.0])
def test_leaks_meet_the_pipe_at_their_own_pressure(bar):
    scenario = perfect(
        f"""
        dwelling.pressure = "{bar} bar"
        dwelling.supply_pipe = {{length = "28 m", bore = "20 mm", fittings_k = 18}}
        leaks.hose.open_end_flow = "1000 m3/h"
        """
    )
    flow = run_chunk(Setup.of(scenario.parameters(), 1, probes=4), 0, 1).rows["flow"]
    assert np.ptp(flow) == 0.0
    assert needed(flow.flat[0], 0.0, 28.0, 0.02, 1e-5, 18.0) == pytest.approx(bar * BAR, rel=3e-4)


def test_cold_water_rubs_more():
    pipe = SupplyPipe(length="28 m", bore="20 mm", roughness="0.01 mm", fittings_k=18)
    cold, usual, warm = (full_bore_flow(pipe, 3 * BAR, t) for t in (1.0, 10.0, 25.0))
    assert cold < usual < warm < 1.06 * cold


@pytest.mark.parametrize(
    ("celsius", "kg_per_m3", "mpa_s"),
    [(0, 999.84, 1.792), (10, 999.70, 1.306), (20, 998.21, 1.002), (40, 992.22, 0.653)],
)
def test_water_is_that_of_the_handbooks(celsius, kg_per_m3, mpa_s):
    """Values as printed in handbooks of chemistry, from memory."""
    assert density(celsius) == pytest.approx(kg_per_m3, rel=2e-5)
    assert 1e3 * viscosity(celsius) == pytest.approx(mpa_s, rel=1.5e-3)


def test_check_tells_the_computed_flow(tmp_path):
    text = (
        'dwelling.pressure = "3 bar"\n'
        'dwelling.supply_pipe = {length = "20 m", bore = "20 mm", friction_factor = 0.02, '
        'fittings_k = 9}\n[leaks.hose]\nkind = "appliance hose"\n[designs.one]\n'
    )
    file = tmp_path / "home.toml"
    file.write_text(text)
    shown = CliRunner().invoke(app, ["check", str(file)], env={"COLUMNS": "200"}).stdout
    # sqrt(2 x 3e5 / (30 x 999.7)) = 4.473 m/s through 314.2 mm2
    assert "full-bore flow of the supply pipe 84.3 L/min at the mean pressure, 3 bar" in shown
    assert "full_bore_pressure" not in shown  # there was no bucket test
    assert "roughness" not in shown


@pytest.mark.parametrize(
    ("lines", "key", "words"),
    [
        (
            "dwelling.supply_pipe = {friction_factor = 0.02, roughness = '0.01 mm'}",
            "dwelling.supply_pipe.friction_factor",
            "only one of roughness or friction_factor",
        ),
        ("dwelling.supply_pipe.friction_factor = 0", "dwelling.supply_pipe", "above 0"),
        ('dwelling.water_temperature = "60 degC"', "dwelling.water_temperature", "at most 40"),
    ],
)
def test_what_cannot_be_is_refused(lines, key, words):
    with pytest.raises(ScenarioError) as caught:
        shutoffsim.loads(lines + '\n[leaks.hose]\nkind = "appliance hose"\n[designs.one]\n')
    (problem,) = caught.value.problems
    assert problem.key.startswith(key)
    assert words in str(problem)
