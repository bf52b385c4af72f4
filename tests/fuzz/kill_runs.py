"""Kills commands at random moments and tells what is found afterwards, as one line of JSON.

``python tests/fuzz/kill_runs.py TIMES FOLDER``: each run is a fork of this process, in which
everything is loaded and compiled, so that the moments fall into the work and the writing.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sys
import time
from pathlib import Path

from shutoffsim.cli.app import app, compile_kernels
from shutoffsim.engine.unfinished import MARK
from shutoffsim.scenario import starter
from shutoffsim.study.assessment import assess

FEW = ["--workers", "1", "--design", "plus battery"]
COMMANDS = {
    "compare": ["--histories", "64", "--json", "OUT/a.json", "--incidents", "OUT/b.parquet"],
    "report": ["--histories", "4", "--save", "OUT/saved", "--out", "OUT/page.html"],
}


def run(command: str, scenario: Path, out: Path, seed: int) -> int:
    """Start a command in a process of its own and return the number of the process."""
    words = [word.replace("OUT", str(out)) for word in COMMANDS[command]]
    process = os.fork()
    if process == 0:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        code = 1
        try:
            app([command, str(scenario), *words, *FEW, "--seed", str(seed)])
        except SystemExit as end:
            code = int(end.code or 0)
        finally:
            os._exit(code)
    return process


def kill_after(process: int, seconds: float) -> int:
    """Kill a process after a time, or find that it has ended; return its status."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        ended, status = os.waitpid(process, os.WNOHANG)
        if ended:
            return status
        time.sleep(0.01)
    os.kill(process, signal.SIGKILL)
    return os.waitpid(process, 0)[1]


def whole(command: str, scenario: Path, out: Path, seed: int) -> dict[str, dict[str, bytes]]:
    """Let a command end, and return what it wrote."""
    _, status = os.waitpid(run(command, scenario, out, seed), 0)
    assert status == 0, f"{command} ended with {status}"
    return contents(out)


def contents(out: Path) -> dict[str, dict[str, bytes]]:
    """Return the bytes of each result; a saved folder is one result of several files."""
    found: dict[str, dict[str, bytes]] = {}
    for path in out.iterdir():
        if path.name.endswith(MARK):
            continue
        files = path.iterdir() if path.is_dir() else [path]
        found[path.name] = {file.name: file.read_bytes() for file in files}
    return found


def put(out: Path, results: dict[str, dict[str, bytes]]) -> None:
    """Put results into the folder, leaving what killed runs left beside them."""
    for name, files in results.items():
        path = out / name
        if path.is_dir():
            shutil.rmtree(path)
        single = list(files) == [name]
        if not single:
            path.mkdir()
        for file, data in files.items():
            (path if single else path / file).write_bytes(data)


def main() -> None:
    times, folder = int(sys.argv[1]), Path(sys.argv[2])
    rng = random.Random(7)
    scenario = folder / "s.toml"
    scenario.write_text(starter())
    compile_kernels()
    assess.SWING_HISTORIES = 0  # varying each assumption would take most of the time
    told = {"killed": 0, "ended": 0, "left": 0, "old": 0, "new": 0, "wrong": []}
    for command in COMMANDS:
        out = folder / command
        out.mkdir()
        old = whole(command, scenario, out, 1)
        started = time.monotonic()
        new = whole(command, scenario, out, 2)
        length = time.monotonic() - started
        assert all(new[name] != old[name] for name in old)
        for number in range(times // len(COMMANDS)):
            put(out, old)
            process = run(command, scenario, out, 2)
            # Half of the moments fall into the last tenth, where files get their names.
            share = rng.uniform(0.0, 1.0) if number % 2 else rng.uniform(0.9, 1.05)
            status = kill_after(process, share * length)
            told["killed" if os.WIFSIGNALED(status) else "ended"] += 1
            told["left"] += any(path.name.endswith(MARK) for path in out.iterdir())
            found = contents(out)
            for name in old:
                if found.get(name) == old[name]:
                    told["old"] += 1
                elif found.get(name) == new[name]:
                    told["new"] += 1
                else:
                    told["wrong"].append(f"{command} {number}: {name}")
            told["wrong"] += [f"{command} {number}: {name}" for name in set(found) - set(old)]
        again = whole(command, scenario, out, 2)
        told["wrong"] += [f"{command}: {name} of the next run" for name in new
                          if again.get(name) != new[name]]  # fmt: skip
        told["wrong"] += [f"left: {path.name}" for path in out.iterdir() if path.name not in new]
    print(json.dumps(told))


if __name__ == "__main__":
    main()
