"""The one place that compiles, with a disk cache that cannot serve stale code.

numba keys its cache by the file of the compiled function alone, so an edit in a called function
of another file would go unnoticed. Here the cache folder is named by a hash of *all* kernel
sources and of the versions that matter: an edit anywhere means another, empty folder.
"""

from __future__ import annotations

import atexit
import hashlib
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import llvmlite
import numba
import numba.extending
import numpy as np
from platformdirs import user_cache_path

from shutoffsim.model.kernel_store import KernelStore, UnusableError

_PACKAGE = Path(__file__).resolve().parent.parent
_njit: Any = numba.njit
_config: Any = numba.config  # its settings are made at run time


def kernel_sources() -> list[Path]:
    """Return the files whose text decides what the compiled code does."""
    engine = ("batch.py", "guard.py", "placement.py", "schedule.py")
    return [
        *sorted((_PACKAGE / "model").glob("*.py")),
        *(_PACKAGE / "engine" / name for name in engine),
    ]


def _digest() -> str:
    text = hashlib.sha256()
    versions = (sys.version, numba.__version__, llvmlite.__version__, np.__version__)
    # numba also keys its files by where the source lies, so another installation compiles anew.
    text.update("|".join((str(_PACKAGE), *versions)).encode())
    for path in kernel_sources():
        text.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return text.hexdigest()[:20]


def _open_store() -> tuple[KernelStore | None, str]:
    """Return this build's store, or None and why there is none."""
    root = os.environ.get("SHUTOFFSIM_CACHE")
    base = Path(root) if root else user_cache_path("shutoffsim", appauthor=False)
    try:
        store = KernelStore(base, _digest(), own_base=not root)
    except UnusableError as error:
        return None, str(error)
    atexit.register(store.seal)
    return store, ""


STORE, NOT_STORED = _open_store()


def is_warm() -> bool:
    """Return whether compiled code of exactly these sources is on disk."""
    return STORE is not None and STORE.ready


def mark_warm() -> None:
    """Note that all kernels of these sources have been compiled and stored."""
    if STORE is not None and not _config.DISABLE_JIT:
        STORE.mark_ready()


_OPTIONS: dict[str, Any] = {
    "nogil": True,
    "fastmath": False,
    "error_model": "numpy",
    "no_cfunc_wrapper": True,
}
# Counting who refers to an array took a third of a probe's time. Nothing that is compiled here
# makes or keeps arrays, unless it says so: its caller holds them.
_UNCOUNTED = {**_OPTIONS, "_nrt": False}


def kernel(function: Callable[..., Any]) -> Any:
    """Compile ``function`` on first use; releases the interpreter lock, plain IEEE arithmetic.

    It may fill arrays but not make them.
    """
    return _njit(**_UNCOUNTED)(function)


def part(function: Callable[..., Any]) -> Any:
    """Compile like :func:`kernel`, as part of the one place that calls it.

    What is written apart to be readable and called from one place need not be compiled apart.
    """
    return _njit(inline="always", **_UNCOUNTED)(function)


def law(function: Callable[..., Any]) -> Any:
    """Leave ``function`` a plain function of numbers or arrays, and let kernels call it too.

    For a rule that Python code outside the histories needs as well: it stands once.
    """
    options = {key: value for key, value in _UNCOUNTED.items() if key != "no_cfunc_wrapper"}
    return numba.extending.register_jitable(inline="always", **options)(function)


def entry(function: Callable[..., Any]) -> Any:
    """Compile like :func:`kernel` and keep the result on disk: for what Python code calls.

    What an entry calls is inside its stored code, so only entries need storing.
    """
    return _stored(function, _UNCOUNTED)


def allocating_entry(function: Callable[..., Any]) -> Any:
    """Compile like :func:`entry` what makes arrays of its own, at the price of counting them."""
    return _stored(function, _OPTIONS)


def _stored(function: Callable[..., Any], options: dict[str, Any]) -> Any:
    if STORE is None:
        return _njit(**options)(function)
    before = _config.CACHE_DIR
    _config.CACHE_DIR = str(STORE.folder)
    try:
        return _njit(cache=True, **options)(function)
    finally:
        _config.CACHE_DIR = before
