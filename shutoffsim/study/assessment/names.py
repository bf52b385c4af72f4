"""Whether the parts of a stored assessment speak of the same designs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shutoffsim.errors import ModelError

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment


def check_names(found: Assessment) -> None:
    """Refuse an assessment whose parts do not belong together.

    Raises
    ------
    ModelError
        When a part names a design that the comparison does not have, or the other way round.
    """
    names = [design.name for design in found.comparison.designs]
    if not names or len(set(map(str, names))) < len(names):
        raise _damaged("comparison.designs", ", ".join(map(str, names)), "each design once")
    own = [design.name for design in found.designs]
    if own != names:
        raise _damaged("designs", ", ".join(own), ", ".join(map(str, names)))
    if found.reference != names[0]:
        raise _damaged("reference", found.reference, f"the first design, “{names[0]}”")
    named = {
        "chosen": [found.chosen],
        "comparison.differences": [
            name for d in found.comparison.differences for name in (d.design, d.reference)
        ],
        "comparison.best": [] if found.comparison.best is None else [found.comparison.best],
        "comparison.as_good": found.comparison.as_good,
        "stories": [story.design for story in found.stories],
        "values": [name for value in found.values for name in (*value.designs, *value.used_in)],
    }
    if found.sensitivity is not None:
        named["sensitivity"] = [found.sensitivity.design, found.sensitivity.reference]
    for place, asked in named.items():
        for name in asked:
            if name not in names:
                raise _damaged(place, str(name), "a design of the comparison")
    compared = [d.design for d in found.comparison.differences]
    if compared != names[1:]:
        raise _damaged("comparison.differences", ", ".join(compared), "one for each design")


def _damaged(place: str, found: str, expected: str) -> ModelError:
    return ModelError(
        "a stored assessment is damaged",
        where=place,
        found=found[:100] or "no name",
        expected=expected[:300],
        hint="make it again from the scenario",
    )
