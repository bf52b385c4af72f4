"""The folder of compiled code: whose it is, what is removed from it, and what damage does."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import shutoffsim
from shutoffsim.model import kernel_store
from shutoffsim.model.kernel_store import MARK, KernelStore, UnusableError

PACKAGE = Path(shutoffsim.__file__).resolve().parent.parent


@pytest.fixture
def base(tmp_path):
    folder = tmp_path / "cache"
    folder.mkdir(mode=0o700)
    return folder


def stored(base: Path, digest: str = "new") -> KernelStore:
    """Return a store with two files whose checksums are noted."""
    store = KernelStore(base, digest)
    (store.folder / "sub").mkdir()
    (store.folder / "sub" / "a.nbi").write_bytes(b"index")
    (store.folder / "sub" / "a.1.nbc").write_bytes(b"code")
    store.mark_ready()
    return store


def test_only_folders_with_the_mark_are_removed(base):
    foreign = base / "kernels-of-my-own"
    foreign.mkdir()
    (foreign / "thesis.txt").write_text("mine")
    elsewhere = base.parent / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / MARK).touch()
    (base / "kernels-link").symlink_to(elsewhere)
    for number in range(5):
        folder = KernelStore(base, f"old{number}").folder
        os.utime(folder, (1000 + number, 1000 + number))
    KernelStore(base, "new")
    left = {path.name for path in base.iterdir()}
    assert left == {"kernels-of-my-own", "kernels-link", "kernels-new", "kernels-old3",
                    "kernels-old4"}  # fmt: skip
    assert (foreign / "thesis.txt").read_text() == "mine"
    assert (elsewhere / MARK).exists()


def test_a_folder_that_holds_something_else_is_not_used(base):
    (base / "kernels-new").mkdir()
    (base / "kernels-new" / "thesis.txt").write_text("mine")
    with pytest.raises(UnusableError, match="holds something else"):
        KernelStore(base, "new")


@pytest.mark.parametrize("mode", [0o770, 0o707, 0o777, 0o722])
@pytest.mark.parametrize("which", ["base", "folder"])
def test_a_folder_that_others_may_write_to_is_refused(base, which, mode):
    place = {"base": base, "folder": stored(base).folder}[which]
    place.chmod(mode)
    with pytest.raises(UnusableError, match=f"others may write to {place}$"):
        KernelStore(base, "new")


def test_a_shared_folder_for_everybody_s_own_files_is_a_base(base):
    base.chmod(0o1777)  # as /tmp has
    assert KernelStore(base, "new").folder.stat().st_mode & 0o077 == 0


def test_the_program_s_own_base_is_shut_to_others(base):
    base.chmod(0o775)
    KernelStore(base, "new", own_base=True)
    assert base.stat().st_mode & 0o777 == 0o755


@pytest.mark.parametrize("which", ["base", "folder"])
def test_what_belongs_to_another_user_is_refused(base, which, monkeypatch):
    stored(base)
    place = {"base": base, "folder": base / "kernels-new"}[which]
    if os.geteuid() == 0:
        os.chown(place, 12345, -1)
    else:
        monkeypatch.setattr(kernel_store, "_user", lambda: os.geteuid() + 1)
    with pytest.raises(UnusableError, match="belongs to another user"):
        KernelStore(base, "new")


def test_a_link_is_refused(base, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (base / "kernels-new").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(UnusableError, match="is a link"):
        KernelStore(base, "new")


def test_a_place_that_cannot_be_written_is_told(base):
    (base / "file").touch()
    with pytest.raises(UnusableError, match=r"file.*: (not a directory|file exists)"):
        KernelStore(base / "file", "new")


def test_whole_files_stay(base):
    folder = stored(base).folder
    again = KernelStore(base, "new")
    assert again.ready
    assert (folder / "sub" / "a.1.nbc").read_bytes() == b"code"


def test_damaged_files_go_and_the_store_is_not_ready(base):
    folder = stored(base).folder
    (folder / "sub" / "a.1.nbc").write_bytes(b"c0de")
    again = KernelStore(base, "new")
    assert not again.ready
    assert [path.name for path in (folder / "sub").iterdir()] == ["a.nbi"]


@pytest.mark.parametrize("sums", [b"", b"[]", b"{", b"[" * 100_000, b'{"sub/a.nbi": 7}'])
def test_damaged_checksums_cost_the_files(base, sums):
    store = stored(base)
    (store.folder / kernel_store._CHECKSUMS).write_bytes(sums)
    again = KernelStore(base, "new")
    assert not again.ready
    assert list((store.folder / "sub").iterdir()) == []


def test_a_missing_file_makes_the_store_not_ready(base):
    store = stored(base)
    (store.folder / "sub" / "a.nbi").unlink()
    assert not KernelStore(base, "new").ready


def test_what_is_added_later_is_noted_when_the_program_ends(base):
    store = stored(base)
    (store.folder / "sub" / "b.1.nbc").write_bytes(b"more")
    store.seal()
    KernelStore(base, "new")
    assert (store.folder / "sub" / "b.1.nbc").exists()


def run_small(base: Path, **env: str) -> tuple[float, int, int]:
    """Call one stored function in a process; return its value, and how often it was compiled."""
    code = (
        "import sys\n"
        "sys.path.insert(0, sys.argv[1])\n"
        "from small import twice\n"
        "print(twice(21.0), sum(twice.stats.cache_hits.values()),"
        " sum(twice.stats.cache_misses.values()))\n"
    )
    (base.parent / "small.py").write_text(
        "from shutoffsim.model.compiled import entry\n\n@entry\ndef twice(x):\n    return x + x\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(PACKAGE), "SHUTOFFSIM_CACHE": str(base), **env}
    environment.pop("NUMBA_DISABLE_JIT", None)
    done = subprocess.run(
        [sys.executable, "-c", code, str(base.parent)],
        capture_output=True,
        text=True,
        env=environment,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    value, hits, misses = done.stdout.split()
    return float(value), int(hits), int(misses)


def test_one_flipped_bit_is_found_repaired_and_does_no_harm(base):
    assert run_small(base) == (42.0, 0, 1)
    assert run_small(base) == (42.0, 1, 0)
    (code,) = base.rglob("*.nbc")
    whole = code.read_bytes()
    for place in (3, len(whole) // 2, len(whole) - 2):
        code.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        assert run_small(base) == (42.0, 0, 1)
        assert run_small(base) == (42.0, 1, 0)
    (index,) = base.rglob("*.nbi")
    index.write_bytes(index.read_bytes()[:-1] + b"!")
    assert run_small(base) == (42.0, 0, 1)
    assert run_small(base) == (42.0, 1, 0)


def test_a_refused_folder_is_not_read_and_the_program_works(base):
    assert run_small(base) == (42.0, 0, 1)
    base.chmod(0o777)
    before = {path: path.read_bytes() for path in base.rglob("*") if path.is_file()}
    assert run_small(base)[0] == 42.0
    assert {path: path.read_bytes() for path in base.rglob("*") if path.is_file()} == before


def test_checksums_are_of_every_stored_file(base):
    run_small(base)
    (noted,) = base.rglob(kernel_store._CHECKSUMS)
    names = {str(p.relative_to(noted.parent)) for p in base.rglob("*.nb?")}
    assert set(json.loads(noted.read_text())) == names
    assert names
