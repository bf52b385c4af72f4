"""The commands: what a person sees, which files they get, and what happens when things go wrong."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

import shutoffsim
from shutoffsim.cli import app
from shutoffsim.cli.app import _asked, listen, progress_bar, read_share
from shutoffsim.errors import ModelError
from shutoffsim.report.files import OutputFile
from shutoffsim.report.table_file import TableFile
from shutoffsim.study.incidents import COLUMNS

ROOT = Path(__file__).resolve().parent.parent
#: Where the package in use lies: this folder, or where it is installed.
PACKAGE = Path(shutoffsim.__file__).resolve().parent.parent
PYTHON = [sys.executable, "-P"]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(PACKAGE)}
READINGS = ROOT / "docs" / "torque-readings.csv"
COTTAGE = ROOT / "scenarios" / "holiday_cottage.toml"
TOP_KEYS = {
    "scenario",
    "scenario_hash",
    "version",
    "seed",
    "histories",
    "horizon_years",
    "currency",
    "designs",
    "differences",
    "assumptions",
}
ESTIMATE_KEYS = {"value", "std_error", "low", "high"}


def run(*args: object, width: int = 80):
    """Run a command in this process."""
    return CliRunner().invoke(app, [str(arg) for arg in args], env={"COLUMNS": str(width)})


def run_process(*args: object, cwd: Path | None = None, **env: str):
    """Run a command as a person would."""
    return subprocess.run(
        [*PYTHON, "-m", "shutoffsim", *map(str, args)],
        cwd=cwd,
        env={**ENVIRONMENT, "COLUMNS": "80", **env},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


@pytest.fixture(scope="module")
def compared(tmp_path_factory):
    """One comparison of two designs with all its files."""
    folder = tmp_path_factory.mktemp("compared")
    args = ("compare", COTTAGE, "--histories", 40, "--design", "no automation", "--design")
    files = ("--json", folder / "result.json", "--incidents", folder / "leaks.parquet")
    result = run(*args, "plus battery", *files)
    assert result.exit_code == 0, result.output
    return result, folder


# --- compare ------------------------------------------------------------------------------------


def test_compare_prints_what_a_buyer_asks(compared):
    text = compared[0].stdout
    for words in (
        "Holiday cottage",
        "the owner saves",
        "the insurer",
        "It costs",
        "plus battery",
        "net",
        "--full",
        "40 histories of 10 years",
        "seed 1",
        shutoffsim.__version__,
        shutoffsim.load(COTTAGE).hash,
        "assumptions",
        "not an approval",
        "licensed plumber",
        "fire sprinklers",
    ):
        assert words in text, words
    answer = shutoffsim.compare(
        shutoffsim.load(COTTAGE), ["no automation", "plus battery"], histories=40
    ).answer()
    assert " ".join(answer.split()) in " ".join(text.split())
    assert len(text.splitlines()) < 30
    assert "> 99.9 %" not in text


def test_compare_prints_all_tables_when_asked():
    text = run("compare", COTTAGE, "--histories", 8, "--full", width=80).stdout
    for words in (
        "expected annual",
        "damage, EUR",
        "reduction",
        "probability of",
        "damaging",
        "nuisance",
        "escaped",
        "largest failure modes",
        "fitting test",
    ):
        assert words in text, words


@pytest.mark.parametrize("width", [40, 72, 80, 100, 120])
def test_nothing_is_wider_than_the_terminal_or_cut_off(width):
    result = run("compare", COTTAGE, "--histories", 3, width=width)
    assert result.exit_code == 0
    assert max(len(line) for line in result.stdout.splitlines()) <= width
    assert "…" not in result.stdout
    for name in shutoffsim.load(COTTAGE).designs:
        assert all(word in result.stdout for word in name.split())


def test_piped_output_is_plain_text(compared):
    assert "\x1b" not in compared[0].stdout
    assert compared[0].stderr in ("", "compiling the model, about half a minute, once\n")


def test_json_has_the_stated_keys(compared):
    data = json.loads((compared[1] / "result.json").read_text())
    assert set(data) >= TOP_KEYS
    assert data["histories"] == 40
    assert [design["name"] for design in data["designs"]] == ["no automation", "plus battery"]
    for design in data["designs"]:
        assert set(design["expected_annual_damage"]) == ESTIMATE_KEYS
        assert set(design["escaped_volume_l"]) == {"median", "p95"}
        total = sum(share["value"] for share in design["failure_modes"].values())
        assert total == pytest.approx(design["probability_of_failure_on_demand"]["value"])
    (difference,) = data["differences"]
    assert difference["reference"] == "no automation"
    assert 0.0 <= difference["probability_of_improvement"] <= 1.0


def test_incidents_add_up_to_the_printed_damage(compared):
    folder = compared[1]
    table = pd.read_parquet(folder / "leaks.parquet")
    data = json.loads((folder / "result.json").read_text())
    years = data["histories"] * data["horizon_years"]
    found = (table["weight"] * table["mean_loss"]).groupby(
        table["design"], observed=True
    ).sum() / years
    for design in data["designs"]:
        expected = design["expected_annual_damage"]["value"]
        assert found[design["name"]] == pytest.approx(expected, rel=1e-12)
    assert list(table.columns) == [name for name, _kind, _meaning in COLUMNS]
    scenario = shutoffsim.load(COTTAGE)
    assert set(table["source"].unique()) <= set(scenario.source_names)
    assert set(table["zone"].unique()) <= set(scenario.zone_names)
    assert (table["weight"] > 0).all()
    assert table["history"].is_monotonic_increasing
    facts = pq.read_metadata(folder / "leaks.parquet").metadata
    assert facts[b"scenario_hash"].decode() == data["scenario_hash"]
    assert int(facts[b"histories"]) == 40


def test_workers_and_repetition_change_no_byte(tmp_path):
    texts = []
    for number, workers in enumerate((1, 2, 2)):
        files = tmp_path / f"{number}.json", tmp_path / f"{number}.parquet"
        args = ("--histories", 300, "--design", "plus battery", "--workers", workers)
        result = run("compare", COTTAGE, *args, "--json", files[0], "--incidents", files[1])
        assert result.exit_code == 0, result.output
        texts.append([result.stdout, *(file.read_bytes() for file in files)])
    assert texts[0] == texts[1] == texts[2]


def test_engines_differ_in_nothing_but_their_name(tmp_path):
    texts = {}
    for engine in ("batch", "trace"):
        files = tmp_path / f"{engine}.json", tmp_path / f"{engine}.parquet"
        args = ("--histories", 2, "--engine", engine, "--json", files[0], "--incidents", files[1])
        result = run("compare", COTTAGE, *args)
        assert result.exit_code == 0, result.output
        texts[engine] = files[0].read_text().replace(f'"engine": "{engine}"', ""), files[1]
    assert texts["batch"][0] == texts["trace"][0]
    assert texts["batch"][1].read_bytes() == texts["trace"][1].read_bytes()


def test_seed_changes_the_result_and_zero_is_a_seed(tmp_path):
    values = set()
    for seed in (0, 1, 2**64 - 1):
        file = tmp_path / f"{seed}.json"
        run("compare", COTTAGE, "--histories", 4, "--seed", seed, "--json", file)
        values.add(json.loads(file.read_text())["designs"][0]["expected_annual_damage"]["value"])
    assert len(values) == 3


def test_one_history_has_no_intervals_and_says_so(tmp_path):
    file = tmp_path / "one.json"
    result = run("compare", COTTAGE, "--histories", 1, "--json", file)
    assert result.exit_code == 0
    assert "One history gives no intervals" in result.stdout
    damage = json.loads(file.read_text())["designs"][0]["expected_annual_damage"]
    assert damage["std_error"] is None
    assert damage["value"] >= 0.0


def test_few_histories_are_flagged(tmp_path):
    result = run("compare", COTTAGE, "--histories", 2)
    assert "Read the intervals with care" in result.stdout


@pytest.mark.parametrize(
    ("text", "share"), [("2%", 0.02), ("2 %", 0.02), (" 0.02 ", 0.02), ("0.5%", 0.005)]
)
def test_precision_is_read_as_people_write_it(text, share):
    assert read_share(text) == pytest.approx(share)


def test_precision_that_is_no_number_is_refused():
    with pytest.raises(ModelError, match="not a share"):
        read_share("2,5%")


def test_precision_decides_when_to_stop(tmp_path):
    file = tmp_path / "precise.json"
    args = ("--design", "no automation", "--precision", "3 %", "--json", file)
    assert run("compare", COTTAGE, *args).exit_code == 0
    data = json.loads(file.read_text())
    damage = data["designs"][0]["expected_annual_damage"]
    assert data["precision_reached"] is True
    assert damage["std_error"] / damage["value"] <= 0.03


# --- check, new, help ------------------------------------------------------------------------


def test_check_counts_the_assumptions_that_compare_counts(tmp_path):
    names = ("no automation", "plus battery")
    for chosen in (names[:1], names[1:], None):
        args = [arg for name in chosen or () for arg in ("--design", name)]
        file = tmp_path / "x.json"
        assert run("compare", COTTAGE, "--histories", 1, *args, "--json", file).exit_code == 0
        text = run("check", COTTAGE, *args).stdout
        weak = [
            int(number)
            for number in re.findall(r"^ +(\d+)  (?:assumption|from memory):", text, re.MULTILINE)
        ]
        assert sum(weak) == len(json.loads(file.read_text())["assumptions"])
        assert f"{sum(weak)} values rest on an assumption" in text


def test_check_is_short_unless_all_is_asked_for():
    short, everything = (run("check", COTTAGE, *args).stdout for args in ((), ("--all",)))
    assert len(short.splitlines()) <= 50 < len(everything.splitlines())
    assert "--all" in short


def test_check_lists_values_with_source_and_evidence(tmp_path):
    file = tmp_path / "values.csv"
    result = run("check", COTTAGE, "--design", "plus battery", "--all", "--csv", file)
    assert result.exit_code == 0
    assert "[dwelling]" in result.stdout
    assert "floor_area = 75 m2" in result.stdout
    table = pd.read_csv(file, keep_default_na=False)
    assert list(table.columns) == [
        *("key", "value", "unit", "stated_in", "source", "evidence", "drives")
    ]
    assert (table["source"] != "").all()
    assert not table["key"].str.startswith("solenoid").any(), "a value without effect is listed"
    assert max(len(line) for line in result.stdout.splitlines()) <= 80 + 40  # long web addresses


def test_new_writes_a_scenario_that_runs_and_never_overwrites(tmp_path):
    file = tmp_path / "mine.toml"
    assert run("new", file).exit_code == 0
    assert run("compare", file, "--histories", 2).exit_code == 0
    before = file.read_bytes()
    result = run("new", file)
    assert result.exit_code == 2
    assert "already" in result.stderr
    assert file.read_bytes() == before


def test_version_and_help_need_nothing_heavy():
    code = (
        "import sys; from shutoffsim.cli import app\n"
        "from typer.testing import CliRunner\n"
        "assert CliRunner().invoke(app, sys.argv[1:]).exit_code == 0\n"
        "heavy = {'numba', 'numpy', 'pandas', 'pint', 'pydantic', 'scipy', 'simpy'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    for option in ("--version", "--help"):
        done = subprocess.run(
            [*PYTHON, "-c", code, option],
            env=ENVIRONMENT,
            capture_output=True,
            text=True,
            check=True,
        )
        assert done.stdout.strip() == "[]"


def test_version_is_the_package_version():
    assert run("--version").stdout == f"shutoffsim {shutoffsim.__version__}\n"


def test_every_command_has_help():
    for command in ("compare", "replay", "check", "new"):
        assert "Usage" in run(command, "--help").stdout


# --- when things go wrong -----------------------------------------------------------------------

BAD_FILES = {
    "binary": (bytes(range(256)), "UTF-8"),
    "empty": (b"", "empty"),
    "not_toml": (b"leaks = [", "not TOML"),
    "no_designs": (b'[leaks.a]\nkind = "pipe joint"\n', "no design"),
    "unknown_key": (b'[dwelling]\nflor_area = "3 m2"\n', "flor_area"),
}


@pytest.mark.parametrize("command", ["compare", "check", "replay"])
@pytest.mark.parametrize("case", BAD_FILES)
def test_bad_scenarios_end_with_a_message(tmp_path, command, case):
    file = tmp_path / "bad.toml"
    file.write_bytes(BAD_FILES[case][0])
    result = run(command, file)
    assert result.exit_code == 2
    assert BAD_FILES[case][1] in result.stderr
    assert "bad.toml" in result.stderr
    assert "Traceback" not in result.output


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("compare", "nowhere.toml"), "no such file"),
        (("compare", ROOT), "folder"),
        (("compare", COTTAGE, "--design", "golden tap"), "no such design"),
        (("compare", COTTAGE, "--design", ""), "no such design"),
        (("compare", COTTAGE, *(2 * ("--design", "no automation"))), "twice"),
        (("compare", COTTAGE, "--precision", "soon"), "not a share"),
        (("compare", COTTAGE, "--precision", "0"), "precision is out of range"),
        (("compare", COTTAGE, "--precision", "nan"), "precision is out of range"),
        (("compare", COTTAGE, "--precision", "-2%"), "precision is out of range"),
        (("compare", COTTAGE, "--histories", "0"), "histories is out of range"),
        (("compare", COTTAGE, "--histories", "many"), "--histories"),
        (("compare", COTTAGE, "--seed", "-1"), "seed is out of range"),
        (("compare", COTTAGE, "--seed", str(2**64)), "seed is out of range"),
        (("compare", COTTAGE, "--workers", "0"), "workers is out of range"),
        (("compare", COTTAGE, "--engine", "steam"), "engine"),
        *(
            ((*command, *wrong), f"{wrong[0][2:]} is out of range")
            for command in (
                ("pfd", COTTAGE),
                ("size", COTTAGE),
                ("report", COTTAGE),
            )
            for wrong in (("--seed", "-1"), ("--seed", str(2**64)), ("--workers", "0"))
        ),
        (("replay", COTTAGE, "--seed", "-1"), "seed is out of range"),
        (("compare", COTTAGE, "--json", "no/such/folder/x"), "no such folder"),
        (("compare", COTTAGE, "--json", ROOT), "this is a folder"),
        (("compare", COTTAGE, "--json", "/dev/null"), "not an ordinary file"),
        (("compare", COTTAGE, "--json", COTTAGE), "overwrite"),
        (("compare", COTTAGE, "--incidents", "no/such/folder/x.csv"), "no such folder"),
        (("compare", COTTAGE, "--incidents", ROOT), "not a known table format"),
        (("compare", COTTAGE, "--incidents", "leaks.xls"), "not a known table format"),
        (("compare", COTTAGE, "--json", "x", "--incidents", "x"), "overwrite"),
        (("check", COTTAGE, "--design", "golden tap"), "no such design"),
        (("check", COTTAGE, "--csv", "no/such/folder/x"), "no such folder"),
        (("replay", COTTAGE, "--design", "golden tap"), "no such design"),
        (("replay", COTTAGE, "--history", "-1"), "history is out of range"),
        (("replay", COTTAGE, "--history", "1", "--pick", "worst"), "cannot be combined"),
        (("replay", COTTAGE, "--probe", "1"), "needs its history"),
        (("compare", COTTAGE, "--json", "x.pdf"), "ends in .json"),
        (("compare", COTTAGE, "--json", "x"), "ends in .json"),
        (("compare", COTTAGE, "--csv", "x.json"), "ends in .csv"),
        (("compare", COTTAGE, "--csv", "x.csv", "--incidents", "x.csv"), "overwrite"),
        (("compare", COTTAGE, "--figures", "no/such/folder"), "no such folder"),
        (("compare", COTTAGE, "--design", "plus battery", "--figures", "x"), "no step to draw"),
        (("compare", COTTAGE, "--brief", "--full"), "does not go with"),
        (("pfd", COTTAGE, "--json", "x.csv"), "ends in .json"),
        (("check", COTTAGE, "--csv", "x.parquet"), "ends in .csv"),
        (("report", COTTAGE, "--out", "x.pdf"), "ends in .html or .htm"),
        (("report", COTTAGE, "--out", "x"), "ends in .html or .htm"),
        (("summary", COTTAGE, "--out", "x.html"), "ends in .pdf"),
        (("fit-torque", READINGS, "--fragment", "x.csv"), "ends in .toml"),
        (("new", "x.docx"), "ends in .toml"),
        (("new", ROOT), "folder"),
        (("new", "no/such/folder/x"), "no such folder"),
        (("sing",), "sing"),
    ],
)
def test_bad_requests_end_with_a_message_and_leave_no_file(tmp_path, monkeypatch, args, words):
    monkeypatch.chdir(tmp_path)
    result = run(*args, width=200)
    assert result.exit_code == 2, result.output
    assert words in result.stderr
    assert "Traceback" not in result.output
    assert list(tmp_path.iterdir()) == []


def test_outputs_are_checked_before_the_work(tmp_path, monkeypatch):
    def fail(*args, **kwargs):
        raise AssertionError("the simulation ran")

    monkeypatch.setattr("shutoffsim.study.runs.run_chunks", fail)
    result = run("compare", COTTAGE, "--incidents", tmp_path / "no" / "x.parquet")
    assert result.exit_code == 2


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_without_permission_is_refused(tmp_path):
    tmp_path.chmod(0o500)
    result = run("compare", COTTAGE, "--json", tmp_path / "x.json")
    assert result.exit_code == 2
    assert "cannot write here" in result.stderr


def test_an_error_during_the_run_leaves_an_old_file_as_it_was(tmp_path, monkeypatch):
    old = tmp_path / "result.json"
    old.write_text("old")

    def fail(*args, **kwargs):
        raise ModelError("the model broke")

    monkeypatch.setattr("shutoffsim.study.runs.run_chunks", fail)
    result = run("compare", COTTAGE, "--json", old, "--incidents", tmp_path / "x.parquet")
    assert result.exit_code == 2
    assert "the model broke" in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["result.json"]
    assert old.read_text() == "old"


def test_a_full_disk_is_an_error_with_a_message(tmp_path):
    assert run("compare", COTTAGE, "--histories", 1).exit_code == 0  # compiles, if it has to
    files = ["--json", tmp_path / "a.json", "--incidents", tmp_path / "b.parquet"]
    code = (
        "import resource, sys; from shutoffsim.cli import main\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (20000, 20000))\n"
        "sys.dont_write_bytecode = True\n"
        "main()"
    )
    done = subprocess.run(
        [*PYTHON, "-c", code, "compare", COTTAGE, "--histories", "64", *files],
        env=ENVIRONMENT,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 2, done.stderr
    assert "cannot write here" in done.stderr
    assert "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_links_are_followed_and_kept(tmp_path):
    target, link = tmp_path / "target", tmp_path / "link"
    target.write_bytes(b"old")
    link.symlink_to(target)
    with OutputFile(link) as file:
        file.write(b"new")
    assert link.is_symlink()
    assert target.read_bytes() == b"new"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_run_leaves_nothing_behind(tmp_path, number):
    # Compiled before, so that it is the run that is interrupted.
    warm = [*PYTHON, "-m", "shutoffsim", "compare", COTTAGE, "--histories", "2"]
    subprocess.run(warm, env=ENVIRONMENT, check=True, capture_output=True)
    files = ["--json", str(tmp_path / "a.json"), "--incidents", str(tmp_path / "b.parquet")]
    process = subprocess.Popen(
        [*PYTHON, "-m", "shutoffsim", "compare", COTTAGE, "--precision", "0.01%", *files],
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # A shell ignores interrupts for what it runs in the background, tests included.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    try:
        started = time.monotonic()
        while not any(tmp_path.iterdir()):
            assert process.poll() is None, process.stderr.read()
            assert time.monotonic() - started < 240
            time.sleep(0.1)
        time.sleep(1.0)
        process.send_signal(number)
        _output, errors = process.communicate(timeout=120)
    finally:
        process.kill()
    assert process.returncode == 128 + number
    assert "Traceback" not in errors
    if number == signal.SIGINT:
        assert "interrupted: nothing was written" in errors
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def listening():
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    hook = sys.unraisablehook
    for number in before:  # a shell ignores interrupts for what it runs in the background
        signal.signal(number, signal.SIG_DFL)
    listen()
    yield
    _asked.clear()
    sys.unraisablehook = hook
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.parametrize(
    ("number", "raised"), [(signal.SIGINT, KeyboardInterrupt), (signal.SIGTERM, SystemExit)]
)
def test_a_stop_that_got_lost_takes_effect_with_the_next_step(listening, number, raised):
    """As in a compiler's callback, where what is raised is forgotten."""
    steps = []

    def work():
        with progress_bar() as progress:
            progress(1, 3)
            steps.append(1)
            with contextlib.suppress(BaseException):
                signal.raise_signal(number)
                steps.append("not stopped at once")
            progress(2, 3)
            steps.append(2)

    with pytest.raises(raised):
        work()
    assert steps == [1]


def test_a_stop_that_gets_lost_prints_no_traceback(listening, capsys):
    """Errors in finalisers and in a compiler's callbacks are printed by Python, not raised."""

    class Lost:
        def __init__(self, error):
            self.error = error

        def __del__(self):
            raise self.error

    _asked.append(signal.SIGINT)
    Lost(KeyboardInterrupt())  # gone at once
    assert capsys.readouterr().err == ""
    Lost(ValueError("something else"))
    assert "something else" in capsys.readouterr().err


def test_a_reader_that_stops_reading_is_no_error():
    process = subprocess.Popen(
        [*PYTHON, "-m", "shutoffsim", "check", str(COTTAGE)],
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    process.stdout.readline()
    process.stdout.close()
    errors = process.stderr.read()
    process.wait(timeout=60)
    process.stderr.close()
    assert "Traceback" not in errors
    assert "Exception" not in errors


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full")
@pytest.mark.parametrize(
    ("args", "streams"),
    [
        (("--help",), "out"),
        (("--version",), "out"),
        (("check", COTTAGE), "out"),
        (("check", COTTAGE), "both"),
        (("check", "nothing.toml"), "both"),
    ],
)
def test_standard_output_on_a_full_disk_is_told(args, streams):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [*PYTHON, "-m", "shutoffsim", *map(str, args)],
            env=ENVIRONMENT,
            stdout=full,
            stderr=full if streams == "both" else subprocess.PIPE,
            text=True,
            timeout=300,
            check=False,
        )
    assert done.returncode == 2
    if streams == "out":
        assert done.stderr.startswith("standard output: the output cannot be written\n")
        assert "no space left" in done.stderr
        assert len(done.stderr.splitlines()) == 3


def test_texts_in_exported_tables_are_no_formulas(tmp_path):
    text = (
        '[leaks."+hose"]\nkind = "appliance hose"\nzone = "@kitchen"\n[zones."@kitchen"]\n'
        'area = "9 m2"\n[designs."=1+1"]\nelement.kind = "none"\n[designs."-2 and more"]\n'
        'element.kind = "alarm only"\n'
    )
    file, leaks, csv = tmp_path / "s.toml", tmp_path / "leaks.csv", tmp_path / "values.csv"
    file.write_text(text)
    assert run("compare", file, "--histories", 2, "--incidents", leaks).exit_code == 0
    rows = pd.read_csv(leaks)
    assert set(rows["design"]) == {"'=1+1", "'-2 and more"}
    assert set(rows["source"]) == {"'+hose"}
    assert rows["loss"].dtype == float
    parquet = tmp_path / "leaks.parquet"
    assert run("compare", file, "--histories", 2, "--incidents", parquet).exit_code == 0
    assert set(pd.read_parquet(parquet)["design"]) == {"=1+1", "-2 and more"}
    assert run("check", file, "--csv", csv).exit_code == 0
    cells = pd.read_csv(csv, dtype=str, keep_default_na=False).to_numpy().ravel()
    assert "'@kitchen" in cells
    assert not [cell for cell in cells if cell[:1] in ("=", "+", "@", "\t", "\r")]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("=1+1", "'=1+1"),
        ("+49 30", "'+49 30"),
        ("-2+3+cmd|' /C calc'!A0", "'-2+3+cmd|' /C calc'!A0"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'\t=1"),
        ("\r=1", "'\r=1"),
        ("\n=1", "'\n=1"),
        ("-", "'-"),
        ("-5", "-5"),
        ("+5.25e-3", "+5.25e-3"),
        ("a=b", "a=b"),
        ("", ""),
        (None, None),
    ],
)
@pytest.mark.parametrize("kind", [pa.string(), pa.dictionary(pa.int16(), pa.string())])
def test_a_text_that_a_spreadsheet_would_run_gets_an_apostrophe(tmp_path, text, told, kind):
    words = pa.array([text, "x"], pa.string())
    table = pa.table({"text": words.cast(kind), "number": [-1.5, 2.0]})
    with TableFile(tmp_path / "a.csv") as file:
        file.add(table)
    read = pyarrow.csv.read_csv(
        tmp_path / "a.csv",
        parse_options=pyarrow.csv.ParseOptions(newlines_in_values=True),
        convert_options=pyarrow.csv.ConvertOptions(
            column_types={"text": pa.string()},
            strings_can_be_null=True,
            quoted_strings_can_be_null=False,
        ),
    )
    assert read["text"].to_pylist() == [told, "x"]
    assert read["number"].to_pylist() == [-1.5, 2.0]


def test_a_terminal_without_our_letters_gets_others():
    done = run_process(
        "compare", COTTAGE, "--histories", 2, "--design", "no automation", PYTHONIOENCODING="ascii"
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.isascii()


def test_names_with_brackets_are_printed_as_they_are(tmp_path):
    file = tmp_path / "brackets.toml"
    file.write_text(
        '[leaks.hose]\nkind = "appliance hose"\n\n'
        '[designs."[bold]none[/bold] :smile:"]\nelement.kind = "none"\n'
    )
    assert "[bold]none[/bold] :smile:" in run("compare", file, "--histories", 2, width=100).stdout


# --- pfd and meter --------------------------------------------------------------------------------

PULSES = "time,pulses\n" + "".join(
    f"2026-03-0{day}T07:{minute:02d}:{second:02d}Z,1\n"
    for day in (1, 2, 3)
    for minute in range(8 * day)
    for second in (0, 30)
)


def test_pfd_prints_the_modes_and_their_sum(tmp_path):
    file = tmp_path / "pfd.json"
    args = ("pfd", COTTAGE, "--design", "plus more torque", "--relative-error", "20%")
    result = run(*args, "--json", file)
    assert result.exit_code == 0, result.output
    assert "probability of failure on demand" in result.stdout
    assert re.search(r"\nall +\d", result.stdout)
    data = json.loads(file.read_text())
    found = data["probability_of_failure_on_demand"]
    assert set(found) == ESTIMATE_KEYS
    assert found["std_error"] <= 0.2 * found["value"]
    assert sum(e["value"] for e in data["failure_modes"].values()) == pytest.approx(found["value"])
    again = tmp_path / "again.json"
    assert run(*args, "--json", again, "--workers", 1).exit_code == 0
    assert again.read_bytes() == file.read_bytes()


def test_pfd_refuses_an_absurd_error():
    result = run("pfd", COTTAGE, "--relative-error", "0")
    assert result.exit_code == 2
    assert "relative_error is out of range" in result.stderr


def test_meter_reads_a_record(tmp_path):
    record, file = tmp_path / "pulses.csv", tmp_path / "meter.json"
    record.write_text(PULSES)
    result = run("meter", record, "--litres-per-pulse", 1, "--gap", "60 s", "--json", file)
    assert result.exit_code == 0, result.output
    assert re.search(r"longer than 5 min +3\b", result.stdout)
    assert re.search(r"longer than 15 min +2\b", result.stdout)
    assert re.search(r"longer than 30 min +0\b", result.stdout)
    assert "[flow_rule]" in result.stdout
    assert json.loads(file.read_text())


@pytest.mark.parametrize("text", ["", "a,b\n1,2\n", "time,pulses\n"])
def test_meter_refuses_what_is_no_record(tmp_path, text):
    record = tmp_path / "record.csv"
    record.write_text(text)
    result = run("meter", record, "--litres-per-pulse", 1)
    assert result.exit_code == 2
    assert "Traceback" not in result.output + result.stderr
    assert "record.csv" in result.stderr
