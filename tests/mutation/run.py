"""Break the rules on purpose, one small change at a time, and see which tests notice.

    python tests/mutation/run.py --mutants 200 --seed 7

A mutant goes through three stages, each in a process of its own with a copy of the package: quick
tests without compilation; whether it changes any result that is tried; slower tests, compiled. What
is known already is read from the folder, so a run that was cut short goes on where it ended.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))

import stages
from sites import Mutant, sample

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "shutoffsim"
COPIED = ("shutoffsim", "tests", "scenarios", "docs", "pyproject.toml", "README.md")
KERNELS = ("model/", "engine/")  # a change here compiles all of it anew
CAUGHT, NO_CHANGE, SURVIVED = "caught", "changes nothing that was tried", "survived"
OPEN = "passed the quick tests"


class UnsoundError(Exception):
    """Tests fail without a mutant."""

    def __init__(self, folder: Path) -> None:
        super().__init__(f"tests fail without a mutant: see {folder / 'log.txt'}")


class Bench:
    """A copy of package and tests, in which one mutant after the other is tried."""

    def __init__(self, folder: Path, thorough: bool) -> None:
        self.folder = folder
        self.thorough = thorough
        self.place = folder / "copy"
        shutil.rmtree(self.place, ignore_errors=True)
        self.place.mkdir(parents=True)
        for name in COPIED:
            if (ROOT / name).is_dir():
                ignored = shutil.ignore_patterns("__pycache__")
                shutil.copytree(ROOT / name, self.place / name, ignore=ignored)
            else:
                shutil.copy2(ROOT / name, self.place / name)
        self.expected = self.do(stages.digest, "digest").answer
        sound = (
            self.expected is not None and self.do(lambda: stages.quick(""), "quick").answer == ""
        )
        if sound and thorough:
            sound = self.do(lambda: stages.slower(""), "slower", compiled=True).answer == ""
        if not sound:
            raise UnsoundError(folder)

    def do(self, work: Any, stage: str, compiled: bool = False, cache: str = "cache") -> Any:
        return stages.in_fork(
            work, self.place, self.folder / cache, compiled, stages.CPU_LIMIT[stage]
        )

    def judge(self, mutant: Mutant) -> dict[str, Any]:
        """Return what becomes of a mutant."""
        path = self.place / "shutoffsim" / mutant.file
        original, times = path.read_text(encoding="utf-8"), path.stat()
        path.write_text(mutant.apply(original), encoding="utf-8")
        try:
            return {**mutant.as_dict(), **self._stages(mutant)}
        finally:
            path.write_text(original, encoding="utf-8")
            os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
            shutil.rmtree(self.folder / "own cache", ignore_errors=True)

    def _stages(self, mutant: Mutant) -> dict[str, Any]:
        first = self.do(lambda: stages.quick(mutant.file), "quick")
        seconds = first.seconds
        if first.crashed or first.answer:
            by = first.answer or "no end, or no start"
            return {"verdict": CAUGHT, "stage": "quick", "by": by, "seconds": seconds}
        tried = self.do(lambda: stages.first_change(self.expected), "digest")
        seconds += tried.seconds
        if tried.answer == "":
            return {"verdict": NO_CHANGE, "stage": "digest", "by": "", "seconds": seconds}
        if not self.thorough:
            by = f"first change: {tried.answer or 'no end, or no start'}"
            return {"verdict": OPEN, "stage": "digest", "by": by, "seconds": seconds}
        cache = "own cache" if mutant.file.startswith(KERNELS) else "cache"
        last = self.do(lambda: stages.slower(mutant.file), "slower", compiled=True, cache=cache)
        seconds = round(seconds + last.seconds, 1)
        if last.answer == "":
            by = f"first change: {tried.answer or 'no end, or no start'}"
            return {"verdict": SURVIVED, "stage": "slower", "by": by, "seconds": seconds}
        by = last.answer or "no end, or no start"
        return {"verdict": CAUGHT, "stage": "slower", "by": by, "seconds": seconds}


def work(number: int, folder: Path, thorough: bool, tasks: Any, results: Any) -> None:
    """Try mutants until there are none left."""
    stages.load_libraries()
    try:
        bench = Bench(folder / f"worker{number}", thorough)
        sys.dont_write_bytecode = True  # a mutant's must not be taken for another's
        for mutant in iter(tasks.get, None):
            results.put(bench.judge(mutant))
    except UnsoundError as error:
        results.put(str(error))


def known(path: Path) -> dict[str, dict[str, Any]]:
    """Return what is known already, by mutant."""
    rows = {}
    if path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            rows[str(as_mutant(row))] = row
    return rows


def as_mutant(row: dict[str, Any]) -> Mutant:
    return Mutant(**{name: row[name] for name in Mutant.__dataclass_fields__})


def report(rows: list[dict[str, Any]], asked: int) -> str:
    """Return the table: shares, by whom, and every survivor."""
    count = Counter(row["verdict"] for row in rows)
    changing = count[CAUGHT] + count[SURVIVED] + count[OPEN]
    share = f"{100 * count[CAUGHT] / changing:.1f} %" if changing else "none"
    lines = [
        f"{len(rows)} of {asked} mutants tried; {count[NO_CHANGE]} change nothing that was tried",
        f"of {changing} that change results, {count[CAUGHT]} were caught by meaning: {share}",
        f"{count[OPEN]} of them have not met the slower tests yet",
        f"{sum(row['seconds'] for row in rows):.0f} s of processor time",
        "",
        "caught by",
    ]
    files = Counter(
        row["by"].partition("::")[0].rpartition("/")[2] for row in rows if row["verdict"] == CAUGHT
    )
    lines += [f"{number:5}  {name}" for name, number in files.most_common()]
    for verdict in (SURVIVED, OPEN, NO_CHANGE):
        lines += ["", verdict]
        lines += [f"  {as_mutant(row)}" for row in rows if row["verdict"] == verdict]
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--mutants", type=int, default=200, help="how many (default 200)")
    parser.add_argument("--seed", type=int, required=True, help="which ones")
    parser.add_argument("--workers", type=int, default=1, help="processes (default 1)")
    parser.add_argument("--folder", type=Path, help="where to work and keep results")
    parser.add_argument("--quick", action="store_true", help="leave the slower tests out")
    parser.add_argument("--only-report", action="store_true", help="try none, print what is known")
    asked = parser.parse_args()
    folder = asked.folder or Path(tempfile.gettempdir()) / f"mutants-{asked.mutants}-{asked.seed}"
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "results.jsonl"
    mutants = sample(PACKAGE, asked.mutants, asked.seed)
    rows = known(path)
    if not asked.quick:
        rows = {name: row for name, row in rows.items() if row["verdict"] != OPEN}
    left = [] if asked.only_report else [m for m in mutants if str(m) not in rows]
    if left:
        os.nice(19)
        tasks: Any = multiprocessing.Queue()
        results: Any = multiprocessing.Queue()
        for mutant in [*left, *[None] * asked.workers]:
            tasks.put(mutant)
        workers = [
            multiprocessing.Process(
                target=work, args=(n, folder, not asked.quick, tasks, results), daemon=True
            )
            for n in range(asked.workers)
        ]
        for worker in workers:
            worker.start()
        for _ in left:
            row = results.get()
            if isinstance(row, str):
                raise SystemExit(row)
            rows[str(as_mutant(row))] = row
            with path.open("a", encoding="utf-8") as out:
                out.write(json.dumps(row) + "\n")
            print(
                f"{row['verdict']}, {row['stage']}, {row['seconds']} s: {as_mutant(row)}",
                flush=True,
            )
            if row["by"]:
                print(f"    {row['by']}", flush=True)
    print(report([rows[str(m)] for m in mutants if str(m) in rows], asked.mutants))


if __name__ == "__main__":
    main()
