"""The samples in reports/: of this program and these scenarios, and made from their folders."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pyarrow.parquet as pq
import pytest

import shutoffsim
from makers import samples
from shutoffsim.study.incidents import in_order, incident_table

ROOT = Path(__file__).resolve().parent.parent


HOW = "stale: run python docs/refresh.py samples"


@pytest.mark.parametrize("stem", samples.SAMPLED)
def test_pages_are_what_their_folder_gives(stem):
    pages = list(samples.sample_pages(stem, samples.SAMPLES / stem))
    assert len(pages) == 2
    for file, content in pages:
        assert file.read_bytes() == content, HOW


@pytest.mark.parametrize("stem", samples.SAMPLED)
def test_samples_are_of_this_program_and_scenario(stem):
    found = shutoffsim.load_assessment(samples.SAMPLES / stem)
    scenario = shutoffsim.load(ROOT / "scenarios" / f"{stem}.toml")
    assert found.scenario_hash == scenario.hash, HOW
    assert found.version == shutoffsim.__version__, HOW
    assert [design.name for design in found.designs] == list(scenario.designs)


@pytest.mark.parametrize("stem", samples.SAMPLED)
def test_samples_hold_the_incidents_that_this_model_simulates(stem):
    """The kept incidents run anew, cell by cell: a sample of another model is found out."""
    table = pq.read_table(samples.SAMPLES / stem / "incidents.parquet")
    again = []
    scenario = shutoffsim.load(ROOT / "scenarios" / f"{stem}.toml")

    def keep(chunk):
        rows = in_order(chunk.rows)
        params = scenario.parameters(scenario.designs)
        again.append(incident_table(rows, scenario, scenario.designs, params))

    shutoffsim.compare(scenario, histories=samples.SAMPLED_HISTORIES, watch=keep)
    (found,) = again
    pd.testing.assert_frame_equal(
        table.to_pandas(), found.to_pandas(), check_categorical=False, check_exact=True, obj=HOW
    )


@pytest.mark.slow
@pytest.mark.parametrize("stem", samples.SAMPLED)
def test_samples_come_out_the_same_again(stem):
    again = dict(samples.sample(stem))
    assert {file for file in again if file.parent.name == stem} == set(
        (samples.SAMPLES / stem).iterdir()
    )
    for file, content in again.items():
        assert file.read_bytes() == content, f"{file.name}: {HOW}"


def test_the_check_of_samples_can_fail():
    found = json.loads((samples.SAMPLES / "clinic_above_shop" / "assessment.json").read_text())
    scenario = shutoffsim.load(ROOT / "scenarios" / "terraced_house.toml")
    assert found["scenario_hash"] != scenario.hash
