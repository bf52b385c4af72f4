"""Runs on a cluster of two processes: the same bits, whatever happens to a worker."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import shutoffsim
from shutoffsim.engine import cluster
from shutoffsim.engine.run import Chunk, Setup, run_chunks
from shutoffsim.engine.unfinished import MARK
from shutoffsim.errors import ModelError, OutputError
from shutoffsim.study.portfolio import portfolio, run

distributed = pytest.importorskip("distributed")

ROOT = Path(__file__).resolve().parents[2]
HISTORIES = 6 * 128 + 40


@pytest.fixture(scope="module")
def client():
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None
        ) as local,
        distributed.Client(local) as client,
    ):
        yield client


@pytest.fixture(scope="module")
def house() -> shutoffsim.Scenario:
    return shutoffsim.load(ROOT / "scenarios" / "terraced_house.toml")


@pytest.fixture(scope="module")
def setup(house) -> Setup:
    return Setup.of(house.parameters(["no automation", "small actuator"]), 7)


@pytest.fixture(scope="module")
def wanted(setup) -> list[Chunk]:
    return list(run_chunks(setup, 3, HISTORIES))


def _equal(chunk: Chunk, other: Chunk) -> bool:
    same = chunk.first == other.first
    for name in ("rows", "natural", "summary"):
        a, b = getattr(chunk, name), getattr(other, name)
        same = same and a.shape == b.shape
        same = same and all(
            np.asarray(a[f]).tobytes() == np.asarray(b[f]).tobytes() for f in b.dtype.names
        )
    return same


def _all_equal(chunks: list[Chunk], wanted: list[Chunk]) -> bool:
    return len(chunks) == len(wanted) and all(map(_equal, chunks, wanted))


def test_same_bits_in_the_same_order(client, setup, wanted):
    seen: list[tuple[int, int]] = []
    progress = lambda done, planned: seen.append((done, planned))  # noqa: E731
    chunks = list(cluster.run_chunks_on(client, setup, 3, HISTORIES, progress=progress))
    assert _all_equal(chunks, wanted)
    assert seen[-1] == (HISTORIES - 3, HISTORIES - 3)
    assert seen == sorted(seen)
    other = Setup.of(setup.params, 8)
    assert not _equal(next(cluster.run_chunks_on(client, other, 3, 131)), wanted[0])


def test_by_address(client, setup, wanted):
    address = client.scheduler.address
    chunks = list(cluster.run_chunks_on(address, setup, 3, 131))
    assert _equal(chunks[0], wanted[0])


def test_a_killed_worker_loses_nothing(client, setup, wanted):
    workers = client.run(os.getpid)
    chunks = []
    for chunk in cluster.run_chunks_on(client, setup, 3, HISTORIES):
        if not chunks:
            os.kill(next(iter(workers.values())), signal.SIGKILL)
        chunks.append(chunk)
    assert _all_equal(chunks, wanted)
    client.wait_for_workers(2, timeout=60)
    assert client.run(os.getpid) != workers  # there was a killing


def test_finished_chunks_are_kept_and_taken_up(client, setup, wanted, tmp_path, monkeypatch):
    store = tmp_path / "new" / "store"
    started = cluster.run_chunks_on(client, setup, 3, HISTORIES, store)
    for _ in range(3):
        next(started)
    started.close()  # as an interrupt does
    kept = sorted(store.iterdir())
    assert len(kept) == 3
    assert all(path.name.startswith(cluster.setup_name(setup)) for path in kept)

    computed = []
    submit = client.submit

    def counting(*args, **kwargs):
        computed.append(args)
        return submit(*args, **kwargs)

    monkeypatch.setattr(client, "submit", counting)
    damaged = kept[1].read_bytes()
    kept[1].write_bytes(damaged[:-9] + b"\0" + damaged[-8:])
    kept[2].write_bytes(b"")
    chunks = list(cluster.run_chunks_on(client, setup, 3, HISTORIES, store))
    assert _all_equal(chunks, wanted)
    assert len(computed) == len(wanted) - 1
    chunks = list(cluster.run_chunks_on(client, setup, 3, HISTORIES, store))
    assert _all_equal(chunks, wanted)
    assert len(computed) == len(wanted) - 1
    # another seed is another question
    list(cluster.run_chunks_on(client, Setup.of(setup.params, 8), 3, 131, store))
    assert len(computed) == len(wanted)
    assert not [path for path in store.iterdir() if path.name.startswith(".")]


def test_what_a_killed_run_left_in_the_store_is_cleared(client, setup, tmp_path):
    left = tmp_path / f".x.result.0123abcd{MARK}"
    left.write_bytes(b"half")
    next(cluster.run_chunks_on(client, setup, 0, 4, tmp_path))
    assert not left.exists()


def test_a_name_stands_for_all_that_decides_a_result(house, setup):
    names = {
        cluster.setup_name(setup),
        cluster.setup_name(Setup.of(setup.params, 8)),
        cluster.setup_name(Setup.of(setup.params, 7, "trace")),
        cluster.setup_name(Setup.of(setup.params, 7, probes=16)),
        cluster.setup_name(Setup.of(setup.params[:1], 7)),
        cluster.setup_name(replace(setup, extra=8)),
        cluster.setup_name(replace(setup, tilt=True)),
    }
    changed = setup.params.copy()
    changed["valve_age"][1] += 1.0
    names.add(cluster.setup_name(Setup.of(changed, 7)))
    assert len(names) == 8
    again = Setup.of(house.parameters(["no automation", "small actuator"]), 7)
    assert cluster.setup_name(again) == cluster.setup_name(setup)


@pytest.mark.parametrize("region", [False, True])
def test_a_portfolio_on_a_cluster(client, house, tmp_path, monkeypatch, region):
    path = tmp_path / "dwellings.csv"
    lines = [f"d{n},{n} years,r{n % 2}\n" for n in range(11)]
    path.write_text("dwelling,valve.age,region\n" + "".join(lines) + "bad,old,r0\n")
    monkeypatch.setattr(run, "BLOCK", 3)
    store = tmp_path / "store"
    here = portfolio(house, path, histories=3, region=region)
    for _ in range(2):  # computed, then taken from the store
        there = portfolio(house, path, histories=3, region=region, cluster=client, store=store)
        assert there.as_dict() == here.as_dict()
        assert there.table().equals(here.table())
    assert there.failed == 1
    assert len(list(store.iterdir())) == 4


def test_a_worker_with_another_version_is_refused(client, setup, monkeypatch):
    monkeypatch.setattr(cluster, "fingerprint", lambda: "something else")
    with pytest.raises(ModelError, match="another version of shutoffsim"):
        list(cluster.run_chunks_on(client, setup, 0, 4))


@pytest.fixture
def copied(tmp_path, monkeypatch):
    """Let the fingerprint look at a copy of the program."""
    package = tmp_path / "shutoffsim"
    shutil.copytree(cluster._PACKAGE, package, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(cluster, "_PACKAGE", package)
    return package


@pytest.mark.parametrize(
    "name",
    [
        "model/history.py",
        "engine/batch.py",
        "engine/placement.py",
        "engine/run.py",
        "study/portfolio/block.py",
        "study/portfolio/settings.py",
        "scenario/parameters.py",
        "scenario/defaults.toml",
        "units/factors.json",
        "estimate/tally.py",
    ],
)
def test_an_edit_of_anything_that_makes_numbers_shows(copied, name):
    fingerprint = cluster.fingerprint.__wrapped__
    before = fingerprint()
    path = copied / name
    path.write_bytes(path.read_bytes() + b" ")
    assert fingerprint() != before


@pytest.mark.parametrize("name", ["report/wording.py", "cli/app.py"])
def test_an_edit_of_what_only_shows_results_does_not_matter(copied, name):
    before = cluster.fingerprint.__wrapped__()
    path = copied / name
    path.write_bytes(path.read_bytes() + b" ")
    assert cluster.fingerprint.__wrapped__() == before


def test_another_library_shows(monkeypatch):
    before = cluster.fingerprint.__wrapped__()
    monkeypatch.setattr(cluster, "version", lambda name: "0.0")
    assert cluster.fingerprint.__wrapped__() != before


def test_nobody_at_the_address(setup, monkeypatch):
    monkeypatch.setattr(cluster, "_CONNECT", 0.5)
    with pytest.raises(ModelError, match="no cluster answers at this address"):
        list(cluster.run_chunks_on("tcp://127.0.0.1:9", setup, 0, 4))
    with pytest.raises(ModelError, match="no cluster answers at this address"):
        list(cluster.run_chunks_on("nonsense://x", setup, 0, 4))


def test_without_the_package(setup, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ModelError, match=r'pip install "shutoffsim\[cluster\]"'):
        list(cluster.run_chunks_on("tcp://127.0.0.1:9", setup, 0, 4))


def test_a_store_that_is_no_folder(client, setup, tmp_path):
    file = tmp_path / "file"
    file.write_text("x")
    with pytest.raises(OutputError, match="folder of finished results cannot be used"):
        list(cluster.run_chunks_on(client, setup, 0, 4, file))


@pytest.mark.slow
def test_the_example_of_the_page_runs(tmp_path):
    page = (ROOT / "docs" / "cluster.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"^```py\n(.*?)^```", page, re.M | re.S)
    script = tmp_path / "example.py"
    script.write_text(code, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(script)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.stdout.strip() == "4", done.stderr
