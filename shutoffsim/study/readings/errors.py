"""What is wrong with a file of readings."""

from __future__ import annotations

from shutoffsim.errors import ScenarioError


class ReadingsError(ScenarioError):
    """Readings of a valve's torque cannot be used; carries all problems found, with their lines."""
