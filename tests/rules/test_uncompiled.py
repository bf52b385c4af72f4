"""Checks that must see into the rules, and so run them uncompiled, in a process of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent


@pytest.mark.parametrize("name", ["aim", "ledger"])
def test_uncompiled(name):
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"uncompiled_{name}.py"],
        cwd=HERE,
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
    assert " passed" in done.stdout
