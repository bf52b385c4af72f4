"""Closing elements in words, keyed by their names."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from shutoffsim.model.elements import Kind


class Words(NamedTuple):
    """What pages say of an element.

    Attributes
    ----------
    fitted : str
        What is fitted.
    by_hand : str
        How a person closes in spite of it; empty where nothing stands in the way, or where the
        mount decides.
    """

    fitted: str
    by_hand: str = ""


WORDS: Final[Mapping[Kind, Words]] = {
    "none": Words("none: a person closes the water"),
    "alarm only": Words("none: sensors warn, a person closes the water"),
    "clamped actuator": Words("electric actuator clamped onto the existing valve"),
    "motorised valve": Words(
        "new motorised valve", "Use the drive's own release, then turn the valve by hand."
    ),
    "solenoid, powered open": Words(
        "solenoid valve, shut without power",
        "Use the manual stop valve beside the solenoid valve.",
    ),
    "solenoid, powered shut": Words(
        "solenoid valve, open without power",
        "Use the manual stop valve beside the solenoid valve.",
    ),
}
