"""The pages: what they show is what happens, what they list is complete, what they name exists."""

from __future__ import annotations

import doctest
import importlib
import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import refresh
import shutoffsim
from makers import outputs
from shutoffsim.cli import app
from shutoffsim.model import layout as L
from shutoffsim.study import cautions, failures
from shutoffsim.study.incidents import COLUMNS

ROOT = Path(__file__).resolve().parent.parent
COTTAGE = ROOT / "scenarios" / "holiday_cottage.toml"
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"

PAGES = outputs.pages()
OUTPUTS = [
    (page, line, shown)
    for page in PAGES
    for line, shown in outputs.shown_outputs(page.read_text(encoding="utf-8")).items()
]


def python_blocks(page: Path) -> list[str]:
    """Return the Python code of a page; a block that is "continued" goes on with the one before."""
    found: list[str] = []
    blocks = re.findall(r"^```python( continued)?\n(.*?)^```", page.read_text("utf-8"), re.M | re.S)
    for goes_on, code in blocks:
        if goes_on:
            found[-1] += code
        else:
            found.append(code)
    return found


PYTHON_BLOCKS = [(page, code) for page in PAGES for code in python_blocks(page)]


def shell_lines(page: Path) -> list[str]:
    """Return the command lines of a page's shell blocks."""
    blocks = re.findall(r"^```sh\n(.*?)^```", page.read_text("utf-8"), re.M | re.S)
    return [line for block in blocks for line in block.splitlines() if line.strip()]


def test_pages_show_something():
    assert README in [page for page, _line, _shown in OUTPUTS]
    assert PYTHON_BLOCKS


@pytest.mark.parametrize(
    ("page", "line", "shown"), OUTPUTS, ids=[f"{p.name}: {line}" for p, line, _ in OUTPUTS]
)
def test_shown_output_is_what_the_command_prints(page, line, shown):
    assert outputs.run_command(line) == shown, "stale: run python docs/refresh.py outputs"


@pytest.mark.parametrize(
    ("page", "code"), PYTHON_BLOCKS, ids=[f"{p.name}-{n}" for n, (p, _) in enumerate(PYTHON_BLOCKS)]
)
def test_python_blocks_run(page, code, monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    exec(compile(code, str(page), "exec"), {"__name__": "__main__"})


def test_the_command_of_the_first_screen_is_the_one_whose_output_is_shown():
    (first, *_) = shell_lines(README)
    words = shlex.split(first.rpartition("&&")[2])
    assert Path(words[0]).name == "shutoffsim"
    assert shlex.join(words[1:]) in outputs.shown_outputs(README.read_text("utf-8"))


def test_continuous_integration_runs_the_test_command_of_the_readme():
    commands = [line for line in shell_lines(README) if "pytest" in line]
    assert len(commands) == 1
    script = (ROOT / ".ci" / "run").read_text()
    assert script.splitlines()[-1] == commands[0]
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_and_pictures_exist(page):
    for target in re.findall(r"\]\(([^)#\s]+)", page.read_text("utf-8")):
        if not target.startswith(("http:", "https:")):
            assert (page.parent / target).exists(), target


def test_every_page_can_be_reached_from_the_readme():
    seen, waiting = set(), [README]
    while waiting:
        page = waiting.pop()
        if page in seen or page.suffix != ".md":
            continue
        seen.add(page)
        for target in re.findall(r"\]\(([^)#\s]+)", page.read_text("utf-8")):
            if not target.startswith(("http:", "https:")):
                waiting.append((page.parent / target).resolve())
    assert {page.resolve() for page in PAGES} <= seen


# --- docs/results.md ----------------------------------------------------------------------------


def keys_of(data: object) -> set[str]:
    """Return all keys of nested data, names of failure modes and the like apart."""
    if isinstance(data, dict):
        inner = set().union(*map(keys_of, data.values())) if data else set()
        names = {*L.MODES, *failures.SUBSYSTEMS, *L.REPAIRS, *L.FITTED, *L.DRY}
        return {*data} - names | inner
    if isinstance(data, list):
        return set().union(*map(keys_of, data)) if data else set()
    return set()


def test_the_result_page_lists_every_key_and_column(tmp_path):
    page = (ROOT / "docs" / "results.md").read_text("utf-8")
    listed = set(re.findall(r"^\| `([^`]+)`", page, re.M))
    keys: set[str] = set()
    house = COTTAGE.with_name("terraced_house.toml")  # in which something is worth finding out
    for words, scenario in (
        (["compare", "--histories", "4", "--worlds", "128"], house),
        (["pfd", "--relative-error", "50%"], COTTAGE),
    ):
        file = tmp_path / f"{words[0]}.json"
        result = CliRunner().invoke(app, [*words, str(scenario), "--json", str(file)])
        assert result.exit_code == 0, result.output
        keys |= keys_of(json.loads(file.read_text()))
    columns = {name for name, _kind, _meaning in COLUMNS}
    values = set(shutoffsim.load(COTTAGE).ledger().columns)
    assert keys <= listed, f"not listed: {sorted(keys - listed)}"
    assert columns <= listed, f"not listed: {sorted(columns - listed)}"
    assert values <= listed, f"not listed: {sorted(values - listed)}"
    assert listed <= keys | columns | values, sorted(listed - keys - columns - values)


#: Keys of the results in Python, where the attribute has another name.
OTHERWISE = {
    "Comparison": {"precision_reached": "reached"},
    "FailureOnDemand": {
        "probability_of_failure_on_demand": "probability",
        "failure_modes": "modes",
        "failures_by_subsystem": "subsystems",
        "failure_given_a_demand": "given_a_demand",
        "precision_reached": "reached",
    },
}


@pytest.mark.parametrize("kind", OTHERWISE)
def test_results_have_the_attributes_that_the_page_says(kind):
    page = (ROOT / "docs" / "results.md").read_text("utf-8")
    if kind == "Comparison":
        result = shutoffsim.compare(shutoffsim.load(COTTAGE), histories=4)
        parts = [result, result.designs[0], result.differences[0]]
    else:
        result = shutoffsim.failure_on_demand(
            shutoffsim.load(COTTAGE), "plus more torque", relative_error=0.5
        )
        parts = [result]
    other = OTHERWISE[kind]
    data = result.as_dict()
    for part, keys in zip(
        parts, [data, *(data[k][0] for k in ("designs", "differences") if k in data)], strict=True
    ):
        for key in keys:
            assert hasattr(part, other.get(key, key)), (key, "is told otherwise in the page")
    for attribute in other.values():
        assert f"`{attribute}`" in page


def words_of(text: str) -> str:
    """Return a page's words, one space apart and without emphasis."""
    return " ".join(text.replace("*", "").split())


@pytest.mark.parametrize(
    ("page", "heading", "sentences"),
    [
        ("README.md", "Cautions", cautions.fitting()),
        ("docs/sizing.md", "Cautions", cautions.SIZING),
        ("docs/measuring-torque.md", "Before you begin", cautions.MEASURING),
    ],
)
def test_pages_tell_each_caution_in_the_words_of_the_program(page, heading, sentences):
    text = (ROOT / page).read_text("utf-8")
    section = re.search(rf"^## {heading}\n(.*?)^## ", text, re.M | re.S)[1]
    for sentence in sentences:
        assert sentence in words_of(section), sentence


def test_the_glossary_names_every_failure_mode():
    page = (ROOT / "docs" / "glossary.md").read_text("utf-8")
    for mode in L.MODES[1:]:
        assert re.search(rf"^\| {re.escape(mode)} \|", page, re.M), mode


def test_the_change_log_speaks_of_the_present_version():
    page = (ROOT / "docs" / "changes.md").read_text("utf-8")
    assert f"## {shutoffsim.__version__}" in page
    entries = re.findall(r"^- \[([A-Z]+)\]", page, re.M)
    assert entries
    assert set(entries) <= {"NEW", "FIX", "CHANGE", "BREAKING", "NUMBERS"}


# --- examples in docstrings ---------------------------------------------------------------------

MODULES = [
    "makers.markdown",
    "makers.schema",
    "shutoffsim.estimate.plain",
    "shutoffsim.report.text",
    "shutoffsim.report.replay",
    "shutoffsim.study.compare",
    "shutoffsim.study.digits",
    "shutoffsim.study.replay",
    "shutoffsim.study.words",
    "support.agreement",
]


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings_run(name, monkeypatch):
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testmod(importlib.import_module(name))
    assert tried > 0
    assert failed == 0


def test_a_stale_page_is_found():
    page = "<!-- output of: shutoffsim --version -->\n```text\nshutoffsim 0.0\n```\n"
    renewed = outputs.renew(page)
    assert renewed != page
    assert outputs.shown_outputs(renewed) == {"--version": f"shutoffsim {shutoffsim.__version__}\n"}


def test_the_picture_is_drawn_the_same_twice(monkeypatch):
    monkeypatch.setattr(shutoffsim, "compare", lambda s: compared(s), raising=False)
    first = outputs.picture()
    assert outputs.picture() == first
    assert first.startswith(b"<?xml")
    assert len(first) > 5000


def compared(scenario):
    from shutoffsim.study.compare import compare

    return compare(scenario, histories=8)


# --- docs/refresh.py ----------------------------------------------------------------------------


def test_every_part_can_be_named():
    makers = (ROOT / "docs" / "makers").glob("*.py")
    assert {maker.stem for maker in makers if "def files(" in maker.read_text()} == set(
        refresh.PARTS
    )
    told = re.findall(r"^\| `python docs/refresh.py (\w+)`", DEVELOPERS.read_text("utf-8"), re.M)
    assert told == list(refresh.PARTS)


@pytest.fixture
def part(tmp_path, monkeypatch):
    """Return a function that makes "lists" consist of these files in a new folder."""

    def made(**texts: str) -> Path:
        def files():
            for name, text in texts.items():
                if text == "bad":
                    raise shutoffsim.errors.ModelError("it cannot be made", where=name)
                yield tmp_path / name, text.encode()

        monkeypatch.setattr("makers.lists.files", files)
        return tmp_path

    return made


def test_only_what_is_stale_is_written(part, capsys):
    folder = part(stale="new", fresh="same", missing="made")
    (folder / "stale").write_text("old")
    (folder / "fresh").write_text("same")
    assert refresh.main(["lists"]) == 0
    assert {file.name: file.read_text() for file in folder.iterdir()} == {
        "stale": "new",
        "fresh": "same",
        "missing": "made",
    }
    told = capsys.readouterr().out.splitlines()
    assert [Path(line).name for line in told] == ["stale", "missing"]


def test_what_cannot_be_made_or_written_is_told(part, capsys):
    assert part(first="text", second="bad").is_dir()
    assert refresh.main(["lists"]) == 2
    assert "second: it cannot be made" in capsys.readouterr().err
    (part(place="text") / "place").mkdir()
    assert refresh.main(["lists"]) == 2
    assert "this is a folder" in capsys.readouterr().err


def test_the_script_needs_no_installation_and_refuses_an_unknown_part(tmp_path):
    done = subprocess.run(
        [sys.executable, ROOT / "docs" / "refresh.py", "prices"],
        cwd=tmp_path,
        env={key: value for key, value in os.environ.items() if key != "PYTHONPATH"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 2
    assert "no part is called 'prices'; there are units, lists," in done.stderr
