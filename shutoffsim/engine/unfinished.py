"""Files and folders that are not finished: hidden names beside the target, each with a lock.

Whoever makes one holds a lock on it, which the system takes away when the process ends, however it
ends. So what is found without a lock was left by a run that was killed, and can be removed. Where
the system has no such locks, nothing is removed.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import secrets
import shutil
from pathlib import Path
from typing import IO

try:
    import fcntl
except ImportError:  # not a POSIX system
    fcntl = None  # type: ignore[assignment]

MARK = ".shutoffsim-part"  # end of the names of what this program has not finished
_KEPT_OF_NAME = 50  # letters; with four bytes each there is still room for the rest
_HERE, _EXCHANGE = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of Linux


def claim_file(target: Path) -> tuple[Path, IO[bytes]]:
    """Make an empty file beside ``target`` that nobody else has, and lock it.

    Returns
    -------
    path : pathlib.Path
    file : binary file
        The lock holds until it is closed.

    Raises
    ------
    OSError
        When nothing can be written there.
    """
    while True:
        path = _new_name(target)
        file = path.open("xb")
        if _locked(path, file.fileno()):
            return path, file
        file.close()


def claim_folder(target: Path) -> tuple[Path, int]:
    """Make an empty folder beside ``target`` that nobody else has, and lock it.

    Returns
    -------
    path : pathlib.Path
    descriptor : int
        The lock holds until it is closed with ``os.close``; -1: there is no lock.

    Raises
    ------
    OSError
        When nothing can be written there.
    """
    while True:
        path = _new_name(target)
        path.mkdir()
        if fcntl is None:
            return path, -1
        descriptor = os.open(path, os.O_RDONLY)
        if _locked(path, descriptor):
            return path, descriptor
        os.close(descriptor)


def put_in_place(path: Path, file: IO[bytes], target: Path) -> None:
    """Give a finished file its name, once all of it is on the disk.

    Raises
    ------
    OSError
        When something could not be written; the target is as it was then.
    """
    file.flush()
    os.fsync(file.fileno())
    if fcntl is None:
        file.close()  # other systems rename no open file
    path.replace(target)


def clear(folder: Path) -> None:
    """Remove from a folder what killed runs of this program have left; never raises OSError."""
    if fcntl is None:
        return
    with contextlib.suppress(OSError):
        for path in folder.glob(f".*{MARK}"):
            with contextlib.suppress(OSError):
                _remove_if_left(path)


def _remove_if_left(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()
    finally:
        os.close(descriptor)


def exchange(one: Path, other: Path) -> bool:
    """Let two files or folders take each other's name in one step; False where that is not known.

    The system call is ``renameat2`` of Linux, see its manual page.
    """
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError, TypeError):
        return False
    names = (os.fsencode(one), os.fsencode(other))
    return bool(call(_HERE, names[0], _HERE, names[1], _EXCHANGE) == 0)


def _new_name(target: Path) -> Path:
    return target.with_name(f".{target.name[:_KEPT_OF_NAME]}.{secrets.token_hex(4)}{MARK}")


def _locked(path: Path, descriptor: int) -> bool:
    """Return whether ``path`` is ours; not so when a clearing run was quicker than our lock."""
    if fcntl is None:
        return True
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True  # a file system without locks, where nothing is cleared either
    try:
        return os.path.samestat(path.stat(), os.fstat(descriptor))
    except FileNotFoundError:
        return False
