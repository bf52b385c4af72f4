"""The commands: parse, call, print. Whatever takes long to import is imported when it is used."""

from __future__ import annotations

from shutoffsim.cli import (
    compare,
    fit_torque,
    meter,
    portfolio,
    replay,
    report,
    scenario,
    size,
    summary,
)
from shutoffsim.cli.app import app, main

__all__ = [
    "app",
    "compare",
    "fit_torque",
    "main",
    "meter",
    "portfolio",
    "replay",
    "report",
    "scenario",
    "size",
    "summary",
]
