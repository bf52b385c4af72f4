"""The command: where it writes, and what it says when it cannot."""

from __future__ import annotations

import sys

import pytest
from summary_pages import make, read, text
from typer.testing import CliRunner

from shutoffsim.cli import app
from shutoffsim.cli import summary as _registered  # noqa: F401

SMALL = """
name = "small house"
currency = "EUR"
[leaks.hose]
kind = "appliance hose"
[sensors.a]
zone = "dwelling"
[designs."no automation"]
element.kind = "none"
[designs."automation"]
element.kind = "clamped actuator"
"""


@pytest.fixture
def scenario(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(SMALL)
    return path


def run(*args: object):
    return CliRunner().invoke(app, ["summary", *map(str, args)], env={"COLUMNS": "100"})


def test_summary_of_a_scenario(scenario, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = run(scenario, "--histories", 8, "--seed", 3)
    assert result.exit_code == 0, result.stderr
    pdf = (tmp_path / "small-summary.pdf").read_bytes()
    told = text(pdf)
    assert len(read(pdf).pages) == 2
    assert "8 histories" in told
    assert "seed 3" in told
    assert "small-summary.pdf" in result.stdout
    answer = result.stdout.splitlines()[0]
    assert "automation" in answer
    assert " ".join(answer.split()) in told


def test_design_and_paper_are_taken(scenario, tmp_path):
    out = tmp_path / "x.pdf"
    asked = ("--histories", 4, "--design", "no automation", "--paper", "us-letter", "--out", out)
    assert run(scenario, *asked).exit_code == 0
    pdf = out.read_bytes()
    assert round(float(read(pdf).pages[0].mediabox.width)) == 612
    assert "Protection: “no automation”" in text(pdf)


@pytest.fixture
def no_simulation(monkeypatch):
    """Mistakes are told before anything is simulated."""

    def fail(*args, **kwargs):
        raise AssertionError("the simulation ran")

    monkeypatch.setattr("shutoffsim.study.runs.run_chunks", fail)


@pytest.mark.parametrize(
    ("out", "words"),
    [
        ("x.docx", "what is written here is a PDF file"),
        ("no/such/x.pdf", "there is no such folder"),
        ("small.toml", "what is written here is a PDF file"),
    ],
)
def test_bad_place(scenario, tmp_path, no_simulation, out, words):
    result = run(scenario, "--out", tmp_path / out)
    assert result.exit_code == 2
    assert words in result.stderr
    assert str(tmp_path / out) in result.stderr.replace("\n", "")
    assert scenario.read_text() == SMALL


def test_place_where_nobody_may_write(scenario, no_simulation, monkeypatch):
    def refuse(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)
    result = run(scenario, "--out", scenario.with_name("x.pdf"))
    assert result.exit_code == 2
    assert "cannot write here" in result.stderr
    assert "permission denied" in result.stderr


def test_missing_typesetter(scenario, tmp_path, no_simulation, monkeypatch):
    monkeypatch.setitem(sys.modules, "typst", None)
    result = run(scenario, "--out", tmp_path / "x.pdf")
    assert result.exit_code == 2
    assert 'pip install "shutoffsim[pdf]"' in result.stderr
    assert not (tmp_path / "x.pdf").exists()


def test_missing_scenario(tmp_path, no_simulation):
    result = run(tmp_path / "none.toml", "--out", tmp_path / "x.pdf")
    assert result.exit_code == 2
    assert "none.toml" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_unknown_design(scenario, tmp_path, no_simulation):
    result = run(scenario, "--design", "golden taps", "--out", tmp_path / "x.pdf")
    assert result.exit_code == 2
    assert "there is no such design" in result.stderr
    assert not (tmp_path / "x.pdf").exists()


def test_letters_without_a_font_are_told(tmp_path):
    path = tmp_path / "strange.toml"
    path.write_text(SMALL.replace("small house", "漏水 house"), encoding="utf-8")
    result = run(path, "--histories", 4, "--out", tmp_path / "x.pdf")
    assert result.exit_code == 0
    assert "no font has these letters" in result.stderr
    assert "漏 水" in result.stderr


@pytest.fixture
def saved(cottage_assessed, tmp_path):
    from shutoffsim.report.archive import save_assessment

    folder = tmp_path / "result"
    save_assessment(cottage_assessed, folder)
    return folder


def test_summary_of_a_saved_result(saved, cottage_assessed, tmp_path, no_simulation):
    out = tmp_path / "x.pdf"
    result = run(saved, "--out", out, "--design", "plus battery")
    assert result.exit_code == 0, result.stderr
    assert out.read_bytes() == make(cottage_assessed, "plus battery")


def test_settings_do_not_go_with_a_saved_result(saved, tmp_path):
    result = run(saved, "--seed", 3, "--out", tmp_path / "x.pdf")
    assert result.exit_code == 2
    assert "--seed does not go with a saved result" in result.stderr


def test_unknown_design_of_a_saved_result(saved, tmp_path):
    result = run(saved, "--design", "golden taps", "--out", tmp_path / "x.pdf")
    assert result.exit_code == 2
    assert "there is no such design in this result" in result.stderr


def test_folder_that_holds_no_result(tmp_path):
    folder = tmp_path / "empty"
    folder.mkdir()
    result = run(folder, "--out", tmp_path / "x.pdf")
    assert result.exit_code == 2
    assert "empty" in result.stderr
    assert not (tmp_path / "x.pdf").exists()
