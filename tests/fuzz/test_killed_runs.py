"""Runs that are killed at random moments: old files stay whole, and leftovers go."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import shutoffsim

PACKAGE = Path(shutoffsim.__file__).resolve().parent.parent


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork")
def test_every_file_is_the_old_or_the_new_one_and_nothing_is_left(tmp_path):
    done = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("kill_runs.py")), "50", str(tmp_path)],
        env={**os.environ, "PYTHONPATH": str(PACKAGE)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    print(told)
    assert told["wrong"] == []
    assert told["killed"] + told["ended"] == 50
    # The moments were no idle ones: work was under way, and what it left was seen.
    assert told["killed"] >= 25
    assert told["left"] >= 5
    assert told["old"] + told["new"] == 100
