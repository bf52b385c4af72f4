"""The commands: parse, call, print. Whatever takes long to import is imported when it is used."""

from __future__ import annotations

from importlib import import_module
from typing import Final

from shutoffsim.cli.app import app, main

#: The modules of all commands, in the order of use and so of the help; each adds its own.
COMMANDS: Final = (
    "new",
    "check",
    "compare",
    "breakeven",
    "report",
    "summary",
    "size",
    "fit_torque",
    "pfd",
    "replay",
    "portfolio",
    "meter",
)
for _module in COMMANDS:
    import_module(f"shutoffsim.cli.{_module}")

__all__ = ["COMMANDS", "app", "main"]
