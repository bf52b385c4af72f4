"""Which values of the library rest on no document, each once, wherever it stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from shutoffsim.scenario.entries import Entry, words
from shutoffsim.scenario.ledger import in_use
from shutoffsim.scenario.library import Default
from shutoffsim.scenario.resolve import Design
from shutoffsim.scenario.structure import Path

LABELS: Final = ("assumption", "from memory", "common practice")
_NAMED = ("leaks", "sensors", "zones")
_UNMOVED = ("costs", "insurance")  # sections without effect on expected annual damage
#: Parts that take values from the same place of the library as another.
_LIKE: Final[dict[Path, str]] = {
    ("motorised_valve", "drive"): "actuator",
    ("motorised_valve", "valve"): "valve",
}


@dataclass
class Assumed:
    """One entry of the library, wherever it stands in some designs.

    Attributes
    ----------
    key : str
        Where it stands, with ``*`` for the name of a leak, sensor or zone.
    entry : Entry
        The first of them.
    origin : Default
        Its entry in the library.
    places : list of (int, tuple of str)
        Number of the design, and path there.
    shape : float
        That of the part's life, where it is a value of a leak.
    """

    key: str
    entry: Entry
    origin: Default
    shape: float = 1.0
    places: list[tuple[int, Path]] = field(default_factory=list)

    @property
    def entries(self) -> tuple[str, ...]:
        """Names of leaks, sensors or zones that it stands at."""
        names = (path[1] for _d, path in self.places if path[0] in _NAMED)
        return tuple(dict.fromkeys(names))


def assumed(designs: Sequence[Design]) -> list[Assumed]:
    """Return the values in use that rest on no document and may move expected annual damage.

    Where key, text and source are the same, it is one entry of the library.
    """
    groups: dict[tuple[str, ...], Assumed] = {}
    for d, design in enumerate(designs):
        for path, entry in design.entries.items():
            origin = entry.default
            if origin is None or origin.evidence not in LABELS:
                continue
            if path[0] in _UNMOVED or not in_use(path, design.system):
                continue
            named = path[0] in _NAMED
            key = ".".join((path[0], "*", *path[2:])) if named else entry.key
            family = ".".join((_LIKE[path[:2]], *path[2:])) if path[:2] in _LIKE else key
            shape = design.system.leaks[path[1]].life_shape if path[0] == "leaks" else 1.0
            alike = (family, words(entry.written), origin.source)
            groups.setdefault(alike, Assumed(key, entry, origin, shape)).places.append((d, path))
    return list(groups.values())
