"""Runs some hundreds of cases in one process and tells what came of each, one line of JSON a case.

A case is a function of its kind and number alone: ``python tests/fuzz/worker.py KIND FIRST END
FOLDER`` runs cases again, and leaves the file of the last one in FOLDER.
"""

from __future__ import annotations

import faulthandler
import json
import os
import random
import resource
import signal
import sys
import time
import traceback
from pathlib import Path
from typing import Any

import mutate
from typer.testing import CliRunner

ROOT = Path(__file__).resolve().parents[2]
MEMORY = 6 << 30  # bytes of addresses, of which the libraries alone take more than one
PATIENCE = 10  # s of processor time a command
KILL_AFTER = 60  # s after which a command that cannot be interrupted ends the process
LARGEST_OUTPUT = 300_000  # letters
DOCUMENTED = {"portfolio": (0, 2, 3)}


class TookTooLongError(BaseException):
    """A command took longer than a person waits."""


def stop(_number: int, _frame: Any) -> None:
    raise TookTooLongError


def commands(kind: str, number: int, folder: Path) -> list[list[str]]:
    """Write the files of a case and return what is done with them."""
    rng = random.Random(f"{kind} {number}")
    if kind == "scenario":
        sources = sorted((ROOT / "scenarios").glob("*.toml"))
        from shutoffsim.scenario import starter

        text = rng.choice([starter(), *(path.read_text() for path in sources)])
        file = folder / "case.toml"
        file.write_bytes(mutate.scenario(text, rng))
        few = ["--histories", "2", "--workers", "1"]
        todo = [["check", str(file)], ["compare", str(file), *few]]
        if number % 10 == 0:
            rows = folder / "rows.csv"
            rows.write_text("dwelling,valve.age\na,3 years\nb,30 years\n")
            todo.append(["portfolio", str(file), str(rows), *few])
        return todo
    if kind == "dwellings":
        text = (Path(__file__).parent / "dwellings.csv").read_text()
        file = folder / "case.csv"
        file.write_bytes(mutate.table(text, rng))
        scenario = ROOT / "scenarios" / "terraced_house.toml"
        options = ["--histories", "2", "--workers", "1", "--out", str(folder / "out.csv")]
        return [["portfolio", str(scenario), str(file), *options]]
    if kind == "meter":
        texts = sorted((Path(__file__).parent).glob("meter_*.csv"))
        file = folder / "case.csv"
        file.write_bytes(mutate.table(rng.choice(texts).read_text(), rng))
        return [["meter", str(file), "--litres-per-pulse", "1"], ["meter", str(file)]]
    if kind == "torque":
        file = folder / "case.csv"
        file.write_bytes(mutate.table((ROOT / "docs" / "torque-readings.csv").read_text(), rng))
        house = ROOT / "scenarios" / "terraced_house.toml"
        return [["fit-torque", str(file), "--scenario", str(house)]]
    saved = folder / "case"
    saved.mkdir(exist_ok=True)
    text = (ROOT / "reports" / "holiday_cottage" / "assessment.json").read_text()
    (saved / "assessment.json").write_bytes(mutate.result(json.loads(text), text, rng))
    todo = [["report", str(saved), "--out", str(folder / "case.html")]]
    if number % 4 == 0:
        todo.append(["summary", str(saved), "--out", str(folder / "case.pdf")])
    return todo


def fault(command: list[str], outcome: Any, took_too_long: bool) -> str:
    """Return what is wrong with the outcome of a command; empty when it is as it should be."""
    if took_too_long:
        return f"longer than {PATIENCE} s"
    error = outcome.exception
    if error is not None and not isinstance(error, SystemExit):
        last = traceback.extract_tb(error.__traceback__)[-1]
        inside = [
            frame
            for frame in traceback.extract_tb(error.__traceback__)
            if "shutoffsim/" in frame.filename
        ]
        place = inside[-1] if inside else last
        where = f"{place.filename.rpartition('shutoffsim/')[2]}:{place.lineno}"
        return f"traceback {type(error).__name__} at {where}: {str(error)[:100]}"
    if outcome.exit_code not in DOCUMENTED.get(command[0], (0, 2)):
        return f"exit code {outcome.exit_code}"
    if len(outcome.output) > LARGEST_OUTPUT:
        return f"{len(outcome.output)} letters of output"
    if outcome.exit_code == 2 and not outcome.stderr.strip():
        return "refused without a word"
    return ""


def run_case(kind: str, number: int, folder: Path) -> dict[str, Any]:
    from shutoffsim.cli import app

    told: dict[str, Any] = {"kind": kind, "number": number, "codes": [], "faults": []}
    for command in commands(kind, number, folder):
        took_too_long = False
        outcome = None
        faulthandler.dump_traceback_later(KILL_AFTER, exit=True)
        signal.setitimer(signal.ITIMER_PROF, PATIENCE)
        try:
            outcome = CliRunner().invoke(app, command, env={"COLUMNS": "100"})
        except TookTooLongError:
            took_too_long = True
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
            faulthandler.cancel_dump_traceback_later()
        wrong = fault(command, outcome, took_too_long)
        told["codes"].append(None if outcome is None else outcome.exit_code)
        if wrong:
            told["faults"].append(f"{command[0]}: {wrong}")
        if outcome is None or outcome.exit_code == 2:
            break
    return told


def main() -> None:
    kind, first, end, place = sys.argv[1:]
    folder = Path(place)
    os.chdir(folder)
    signal.signal(signal.SIGPROF, stop)
    from shutoffsim.cli.app import compile_kernels

    compile_kernels()  # takes longer than a case may
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    for number in range(int(first), int(end)):
        print(json.dumps({"begun": number}), flush=True)
        started = time.process_time()
        told = run_case(kind, number, folder)
        told["seconds"] = round(time.process_time() - started, 2)
        print(json.dumps(told), flush=True)


if __name__ == "__main__":
    main()
