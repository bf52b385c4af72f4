"""The folder of compiled code: nobody else's, checked before use, cleared of what is old.

The compiler stores its code as pickles, and to read a pickle is to run what it says. So only a
folder of one's own that nobody else may write to is used, and a file is read only if it still has
the checksum that was noted when it was written. What has not is removed, and compiled anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import stat
import tempfile
from pathlib import Path

MARK = "shutoffsim-kernels"  # a file in every folder that this program made
_NOTE = "Compiled code of shutoffsim. The folder may be deleted at any time.\n"
_CHECKSUMS, _READY = "checksums.json", "ready"
_KEPT_FOLDERS = 3
_STORED = (".nbi", ".nbc")  # ends of the compiler's files
_OTHERS_WRITE = stat.S_IWGRP | stat.S_IWOTH

Stamps = dict[str, tuple[int, int]]


class UnusableError(Exception):
    """The folder cannot be used; the text says why."""


class KernelStore:
    """Compiled code of one set of sources.

    Parameters
    ----------
    base : pathlib.Path
        Where the folders of all sets lie.
    digest : str
        Names the set.
    own_base : bool
        The base is this program's own, so others may be shut out of it.

    Attributes
    ----------
    folder : pathlib.Path

    Raises
    ------
    UnusableError
        When it cannot be written, or others may write to it.
    """

    def __init__(self, base: Path, digest: str, *, own_base: bool = False) -> None:
        self.folder = base / f"kernels-{digest}"
        try:
            base.mkdir(mode=0o700, parents=True, exist_ok=True)
            if own_base and base.stat().st_uid == _user():
                base.chmod(stat.S_IMODE(base.stat().st_mode) & ~_OTHERS_WRITE)
            _check_base(base)
            self.folder.mkdir(mode=0o700, exist_ok=True)
            _check_own(self.folder)
            tempfile.TemporaryFile(dir=self.folder).close()
        except OSError as error:
            raise UnusableError(f"{base}: {(error.strerror or str(error)).lower()}") from None
        self._remove_damaged()
        self._seen = self._stamps()
        _remove_old(base, self.folder)

    @property
    def ready(self) -> bool:
        """All kernels have been compiled and stored."""
        return (self.folder / _READY).exists()

    def mark_ready(self) -> None:
        """Note that all kernels have been compiled and stored."""
        self.seal()
        with contextlib.suppress(OSError):
            (self.folder / _READY).touch()

    def seal(self) -> None:
        """Note the checksums of what is stored, if anything has been stored since the last time."""
        with contextlib.suppress(OSError):
            now = self._stamps()
            if now == self._seen:
                return
            sums = {name: _checksum(self.folder / name) for name in now}
            part = self.folder / f"{_CHECKSUMS}.{os.getpid()}"
            part.write_text(json.dumps(sums, indent=0), encoding="utf-8")
            part.replace(self.folder / _CHECKSUMS)
            self._seen = now

    def _files(self) -> list[Path]:
        return [path for path in self.folder.rglob("*") if path.suffix in _STORED]

    def _stamps(self) -> Stamps:
        stamps: Stamps = {}
        for path in self._files():
            with contextlib.suppress(FileNotFoundError):  # another process compiles as well
                found = path.stat()
                stamps[str(path.relative_to(self.folder))] = (found.st_mtime_ns, found.st_size)
        return stamps

    def _remove_damaged(self) -> None:
        sums = self._noted()
        sound = set()
        complete = True
        for path in self._files():
            name = str(path.relative_to(self.folder))
            with contextlib.suppress(OSError):
                if sums.get(name) == _checksum(path):
                    sound.add(name)
                else:
                    path.unlink()
                    complete = False
        if not complete or sound != set(sums):
            with contextlib.suppress(OSError):
                (self.folder / _READY).unlink(missing_ok=True)

    def _noted(self) -> dict[str, str]:
        try:
            noted = json.loads((self.folder / _CHECKSUMS).read_bytes())
        except (OSError, ValueError, RecursionError):
            return {}
        return noted if isinstance(noted, dict) else {}


def _checksum(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _user() -> int | None:
    return os.geteuid() if hasattr(os, "geteuid") else None


def _check_base(base: Path) -> None:
    """Refuse a place where others could put another folder in place of ours."""
    user = _user()
    if user is None:
        return
    found = base.stat()
    if found.st_uid not in (user, 0):
        raise UnusableError(f"{base} belongs to another user")
    if found.st_mode & _OTHERS_WRITE and not found.st_mode & stat.S_ISVTX:
        raise UnusableError(f"others may write to {base}")


def _check_own(folder: Path) -> None:
    """Refuse a folder that is not all ours; mark a new one."""
    found = folder.lstat()
    if not stat.S_ISDIR(found.st_mode):
        raise UnusableError(f"{folder} is a link, or no folder")
    user = _user()
    if user is not None and found.st_uid != user:
        raise UnusableError(f"{folder} belongs to another user")
    if user is not None and found.st_mode & _OTHERS_WRITE:
        raise UnusableError(f"others may write to {folder}")
    names = os.listdir(folder)
    if MARK in names:
        return
    if names:
        raise UnusableError(f"{folder} holds something else")
    (folder / MARK).write_text(_NOTE, encoding="utf-8")


def _remove_old(base: Path, current: Path) -> None:
    """Remove all but the youngest folders that carry this program's mark."""
    old = []
    with contextlib.suppress(OSError):
        for path in base.glob("kernels-*"):
            with contextlib.suppress(OSError):
                marked = not path.is_symlink() and (path / MARK).is_file()
                if marked and path != current:
                    old.append((path.stat().st_mtime, path))
    for _time, path in sorted(old, reverse=True)[_KEPT_FOLDERS - 1 :]:
        shutil.rmtree(path, ignore_errors=True)
