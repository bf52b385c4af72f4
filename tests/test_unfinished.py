"""What is written in full or not at all: names of their own, and what killed runs leave."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import shutoffsim
from shutoffsim.engine import unfinished
from shutoffsim.engine.unfinished import MARK, claim_file, claim_folder, clear, exchange
from shutoffsim.report.files import OutputFile

PACKAGE = Path(shutoffsim.__file__).resolve().parent.parent
KILLED = (
    "import os, sys\n"
    "from pathlib import Path\n"
    "from shutoffsim.engine.unfinished import claim_folder\n"
    "from shutoffsim.report.files import OutputFile\n"
    "with OutputFile(sys.argv[1]) as file:\n"
    "    file.write(b'half')\n"
    "    file.flush()\n"
    "    claim_folder(Path(sys.argv[1]))[0].joinpath('inside').write_text('half')\n"
    "    os.kill(os.getpid(), 9)\n"
)


def killed_run(target: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(PACKAGE)}
    done = subprocess.run(
        [sys.executable, "-c", KILLED, target], check=False, capture_output=True, env=environment
    )
    assert done.returncode == -9, done.stderr


def test_what_a_killed_run_left_is_cleared_by_the_next_one(tmp_path):
    target = tmp_path / "result.json"
    target.write_bytes(b"old")
    killed_run(target)
    assert target.read_bytes() == b"old"
    assert len([path for path in tmp_path.iterdir() if path.name.endswith(MARK)]) == 2
    with OutputFile(tmp_path / "another.json") as file:
        file.write(b"new")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["another.json", "result.json"]


def test_what_a_living_run_writes_is_left_alone(tmp_path):
    with OutputFile(tmp_path / "a.json") as first:
        first.write(b"first")
        folder, lock = claim_folder(tmp_path / "b")
        with OutputFile(tmp_path / "a.json") as second:
            second.write(b"second")
        clear(tmp_path)
        assert folder.is_dir()
        assert (tmp_path / "a.json").read_bytes() == b"second"
    assert (tmp_path / "a.json").read_bytes() == b"first"
    folder.rmdir()
    os.close(lock)


def test_foreign_hidden_files_are_left_alone(tmp_path):
    names = [".a.json.123.part", ".notes", f"visible{MARK}", ".link" + MARK]
    for name in names[:-1]:
        (tmp_path / name).write_text("mine")
    (tmp_path / names[-1]).symlink_to(tmp_path / ".notes")
    clear(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(names)


def test_a_process_of_the_same_number_does_not_stand_in_the_way(tmp_path):
    (tmp_path / f".a.json.{os.getpid()}.part").write_text("left by an earlier version")
    with OutputFile(tmp_path / "a.json") as file:
        file.write(b"new")
    assert (tmp_path / "a.json").read_bytes() == b"new"


def test_a_clearing_run_that_is_quicker_than_the_lock_is_noticed(tmp_path, monkeypatch):
    lock = unfinished._locked
    taken = []

    def late(path, descriptor):
        if not taken:
            taken.append(path)
            path.unlink()
        return lock(path, descriptor)

    monkeypatch.setattr(unfinished, "_locked", late)
    path, file = claim_file(tmp_path / "a.json")
    with file:
        assert path != taken[0]
        assert path.exists()


@pytest.mark.parametrize("letter", ["x", "ä", "𝔞"])
def test_names_as_long_as_the_system_allows(tmp_path, letter):
    name = letter * (250 // len(letter.encode())) + ".json"
    with OutputFile(tmp_path / name) as file:
        file.write(b"x")
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_two_folders_take_each_others_name_at_once(tmp_path):
    one, other = tmp_path / "one", tmp_path / "other"
    one.mkdir()
    other.mkdir()
    (one / "1").touch()
    if not exchange(one, other):
        pytest.skip("not known to this system")
    assert [path.name for path in other.iterdir()] == ["1"]
    assert list(one.iterdir()) == []
    assert not exchange(one, tmp_path / "missing")
