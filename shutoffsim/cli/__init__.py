"""The commands: parse, call, print. Whatever takes long to import is imported when it is used."""

from __future__ import annotations

from importlib import import_module
from typing import Final

from shutoffsim.cli.app import app, main

#: The modules of all commands, in the order of the help; each adds its commands to the app.
COMMANDS: Final = (
    "compare",
    "fit_torque",
    "meter",
    "portfolio",
    "replay",
    "report",
    "scenario",
    "size",
    "summary",
)
for _module in COMMANDS:
    import_module(f"shutoffsim.cli.{_module}")

__all__ = ["COMMANDS", "app", "main"]
