"""`shutoffsim report`: which files a person gets, and what happens when things go wrong."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from page_reading import Page
from typer.testing import CliRunner

import shutoffsim.cli.report  # registers the command
from shutoffsim.cli import app
from shutoffsim.report.archive import save_assessment
from shutoffsim.report.page.page import page

CLINIC = Path(__file__).resolve().parents[2] / "scenarios" / "clinic_above_shop.toml"


def run(*args: object):
    return CliRunner().invoke(app, ["report", *map(str, args)], env={"COLUMNS": "80"})


@pytest.fixture(scope="module")
def folder(assessed, tmp_path_factory):
    place = tmp_path_factory.mktemp("saved") / "clinic"
    save_assessment(assessed, place)
    return place


def small(path: Path) -> Path:
    """Write a scenario that is simulated at once, with two designs."""
    scenario = path / "flat.toml"
    scenario.write_text(
        """
name = "Flat"
currency = "EUR"
service_life = "10 years"
[dwelling]
floor_area = "60 m2"
pressure = "3 bar"
full_bore_flow = "20 L/min"
[zones.room]
area = "12 m2"
[leaks.hose]
kind = "flexible hose"
[sensors.a]
zone = "room"
[designs.without]
element.kind = "none"
[designs.fitted]
"""
    )
    return scenario


def test_a_saved_folder_gives_the_same_page(assessed, folder, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = run(folder)
    assert done.exit_code == 0, done.output
    written = (tmp_path / "clinic-report.html").read_text(encoding="utf-8")
    assert written == page(assessed)
    assert assessed.answer in done.output
    assert "written: clinic-report.html" in done.output


def test_a_saved_folder_is_not_simulated_again(folder, tmp_path, monkeypatch):
    import shutoffsim.study.assessment.assess as module

    def refuse(*args, **kwargs):
        raise AssertionError("simulated")

    monkeypatch.setattr(module, "assess", refuse)
    assert run(folder, "--out", tmp_path / "x.html").exit_code == 0
    with pytest.raises(AssertionError, match="simulated"):
        CliRunner().invoke(
            app,
            ["report", str(small(tmp_path)), "--out", str(tmp_path / "y.html")],
            catch_exceptions=False,
        )
    assert not (tmp_path / "y.html").exists()


def test_another_design_can_be_told_from_a_folder(folder, tmp_path):
    out = tmp_path / "x.html"
    assert run(folder, "--out", out, "--design", "quick release").exit_code == 0
    read = Page(out.read_text(encoding="utf-8"))
    assert read.table("Failure modes of").caption == "Failure modes of “quick release”"


def test_a_scenario_is_simulated_and_kept(tmp_path, monkeypatch):
    scenario = small(tmp_path)
    monkeypatch.chdir(tmp_path)
    done = run(scenario, "--histories", 32, "--save", "kept", "--seed", 3, "--workers", 1)
    assert done.exit_code == 0, done.output
    first = Path("flat-report.html").read_text(encoding="utf-8")
    assert "seed 3" in first
    assert run("kept", "--out", "again.html").exit_code == 0
    assert Path("again.html").read_text(encoding="utf-8") == first


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["--histories", "5"], "--histories does not go with a saved result"),
        (["--seed", "5"], "--seed does not go with a saved result"),
        (["--precision", "5%"], "--precision does not go with a saved result"),
        (["--return-periods", "20"], "--return-periods does not go with a saved result"),
        (["--save", "there"], "--save does not go with a saved result"),
        (["--design", "nobody"], "there is no such design in this result"),
    ],
)
def test_what_does_not_go_with_a_folder(folder, tmp_path, args, told):
    out = tmp_path / "x.html"
    done = run(folder, "--out", out, *args)
    assert done.exit_code == 2
    assert told in done.output
    assert list(tmp_path.iterdir()) == []


def test_places_are_checked_before_the_work(tmp_path):
    scenario = small(tmp_path)
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / "letter.txt").write_text("mine")
    before = sorted(tmp_path.rglob("*"))
    for args, told in (
        (["--out", tmp_path / "no" / "x.html"], "there is no such folder"),
        (["--out", tmp_path], "this is a folder"),
        (["--out", scenario], "would overwrite SCENARIO"),
        (["--save", tmp_path / "k", "--out", tmp_path / "k" / "x.html"], "in the folder of --save"),
        (["--save", tmp_path / "taken"], "holds something other"),
        (["--save", tmp_path / "no" / "kept"], "there is no such folder"),
        (["--design", "nobody", "--out", tmp_path / "x.html"], "nobody"),
        (["--precision", "2,5%", "--out", tmp_path / "x.html"], "not a share"),
        (["--return-periods", "20y", "--out", tmp_path / "x.html"], "not a list of numbers"),
        (["--return-periods", "1", "--out", tmp_path / "x.html"], "more than 1 and up to"),
        (["--return-periods", "nan", "--out", tmp_path / "x.html"], "out of range"),
        (["--return-periods", "", "--out", tmp_path / "x.html"], "found     nothing"),
    ):
        done = run(scenario, *args, *([] if "--out" in args else ["--out", tmp_path / "z.html"]))
        assert done.exit_code == 2, args
        assert told in done.output.replace("\n", " ")
        assert "Traceback" not in done.output
        assert sorted(tmp_path.rglob("*")) == before


def test_a_damaged_folder_is_refused(folder, tmp_path):
    broken = tmp_path / "broken"
    shutil.copytree(folder, broken)
    text = (broken / "assessment.json").read_text(encoding="utf-8")
    (broken / "assessment.json").write_text(text[: len(text) // 2], encoding="utf-8")
    done = run(broken, "--out", tmp_path / "x.html")
    assert done.exit_code == 2
    assert "assessment.json" in done.output
    assert "Traceback" not in done.output
    assert not (tmp_path / "x.html").exists()
    done = run(tmp_path, "--out", tmp_path / "x.html")
    assert done.exit_code == 2


def test_the_command_explains_itself():
    done = run("--help")
    assert done.exit_code == 0
    for option in ("--out", "--save", "--design", "--precision", "--histories", "--return-periods"):
        assert option in done.output
    assert shutoffsim.cli.report.report.__doc__.split(":")[0] in done.output
