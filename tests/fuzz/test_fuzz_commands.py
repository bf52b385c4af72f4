"""Thousands of files that are nearly right: whatever stands in them, a person gets a clear answer.

No traceback, no command over ten seconds of processor time, no flood of output, bounded memory.
Each case can be run again alone, see ``worker.py``.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

import shutoffsim

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
PACKAGE = Path(shutoffsim.__file__).resolve().parent.parent
ENVIRONMENT = {**os.environ, "PYTHONPATH": f"{PACKAGE}{os.pathsep}{HERE}"}
A_WORKER = 250  # cases

CASES = {"scenario": 2000, "dwellings": 200, "meter": 150, "torque": 150, "saved": 200}


def run_cases(kind: str, first: int, end: int, folder: Path) -> list[dict]:
    """Run cases in workers; one that ends its worker is told, and the next ones go on."""
    told: list[dict] = []
    while first < end:
        last = min(first + A_WORKER, end)
        done = subprocess.run(
            [sys.executable, str(HERE / "worker.py"), kind, str(first), str(last), str(folder)],
            capture_output=True,
            text=True,
            env=ENVIRONMENT,
            check=False,
        )
        lines = [json.loads(line) for line in done.stdout.splitlines() if line[:1] == "{"]
        told += [line for line in lines if "kind" in line]
        begun = [line["begun"] for line in lines if "begun" in line]
        assert begun, done.stderr
        if done.returncode == 0:
            first = last
            continue
        first = begun[-1] + 1
        reason = "\n".join(done.stderr.strip().splitlines()[-12:])
        faults = [f"ended its process with {done.returncode}: {reason}"]
        told.append({"kind": kind, "number": begun[-1], "codes": [None], "faults": faults})
    return told


broken_app = typer.Typer()


@broken_app.command()
def break_down():
    raise KeyError("x")


@pytest.mark.slow
@pytest.mark.parametrize("kind", CASES)
def test_a_clear_answer_to_every_file(kind, tmp_path):
    told = run_cases(kind, 0, CASES[kind], tmp_path)
    assert len(told) == CASES[kind]
    codes = Counter(str(case["codes"][-1]) for case in told)
    print(f"{kind}: {len(told)} cases, last exit codes {dict(codes)}")
    # The mutations must neither break every file nor leave all of them as good as they were.
    assert len(codes) > 1, "every case ended alike, so nothing was tried"
    wrong = [f"{kind} {case['number']}: {fault}" for case in told for fault in case["faults"]]
    assert wrong == []


def test_the_harness_sees_what_it_looks_for(tmp_path, monkeypatch):
    """A traceback, an exit code of its own and a flood are told; a clear refusal is none of it."""
    monkeypatch.syspath_prepend(str(HERE))
    import worker

    class Outcome:
        def __init__(self, code, error=None, output="", stderr="words"):
            self.exit_code, self.exception, self.output = code, error, output
            self.stderr = stderr

    assert worker.fault(["check"], Outcome(2, SystemExit(2)), False) == ""
    assert worker.fault(["portfolio"], Outcome(3, SystemExit(3)), False) == ""
    assert "exit code 3" in worker.fault(["check"], Outcome(3, SystemExit(3)), False)
    assert "letters" in worker.fault(["check"], Outcome(0, output="x" * 400_000), False)
    assert "without a word" in worker.fault(["check"], Outcome(2, stderr=" "), False)
    assert "longer" in worker.fault(["check"], None, True)
    broken = CliRunner().invoke(broken_app, [])
    assert "traceback KeyError" in worker.fault(["check"], broken, False)
