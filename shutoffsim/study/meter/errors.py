"""What is wrong with a meter's record."""

from __future__ import annotations

from shutoffsim.errors import ShutoffError


class MeterError(ShutoffError):
    """A file is not a record of water use that can be analysed."""
