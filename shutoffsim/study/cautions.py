"""What a person must heed whatever the numbers say: each caution once, in the words of all papers.

The sentences are this project's own, from common practice in the trade. README and docs hold the
same ones, which a test sees to.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from shutoffsim.study.digits import told

if TYPE_CHECKING:
    from shutoffsim.study.comparison import DesignResult
    from shutoffsim.study.surge import Surge

#: The one line under every answer.
ESTIMATE: Final = (
    "This is an estimate, not an approval: a licensed plumber and the local codes decide what may "
    "be fitted, and no such valve may ever cut off fire sprinklers."
)

SPRINKLERS: Final = (
    "Never let an automatic valve cut off fire sprinklers, nor other users who depend on the "
    "water: heating make-up, boilers, medical equipment, animals, neighbours on a shared pipe."
)
CODES: Final = (
    "A licensed plumber and the local codes decide what may be fitted. A simulated saving is no "
    "approval and no insurance condition; ask the insurer."
)
BY_HAND: Final = (
    "The valve must stay reachable and usable by hand, without tools and without power."
)
STIFF: Final = (
    "Do not force a stiff valve: it may break where no valve of the building can shut the water. "
    "Have it replaced."
)
LOW_VOLTAGE: Final = (
    "Anything fitted near water belongs on safe extra-low voltage, its supply away from splashes; "
    "mains wiring is an electrician's work."
)
WATER_HAMMER: Final = "Closing in less than about five seconds invites water hammer."
FROST: Final = (
    "A shut main stop valve does not stop frost: keep the heating on or drain the pipes. It may "
    "also trap heated water; never block a relief valve."
)
TEST: Final = (
    "Test the whole chain regularly, with water on a sensor, and replace batteries before they "
    "are due."
)
UPSTREAM: Final = (
    "Before anybody tries a valve that has not moved for long, know where the water is shut "
    "further up, and try that first."
)
SEIZED: Final = "More torque is no cure for a seized valve: a licensed plumber replaces it."
STOP_THERE: Final = (
    "Stop at a torque set beforehand. A valve that does not move at it is for a licensed plumber, "
    "not for a longer lever."
)
LOCAL: Final = "Local codes apply to whatever is done to a water supply."


def fitting(surge: Surge | None = None, result: DesignResult | None = None) -> tuple[str, ...]:
    """Return what to heed when fitting and using an automated valve, most important first.

    Parameters
    ----------
    surge : Surge, optional
        What the design's own closing does to the pressure.
    result : DesignResult, optional
        What the design leaves, where something closes by itself.
    """
    hammer = WATER_HAMMER if surge is None else surge_words(surge)
    own = () if result is None else tuple(_remaining(result))
    return (SPRINKLERS, CODES, BY_HAND, STIFF, *own, LOW_VOLTAGE, hammer, FROST, TEST)


def _remaining(result: DesignResult) -> Iterator[str]:
    """Yield how often the design still fails, and how long it takes the water away."""
    fails = result.probability_of_failure_on_demand
    if fails.value > 0.0 and math.isfinite(fails.error):
        yield (
            f"It still leaves {told(fails, 100.0)} % of leaks to people: they must know the valve "
            "and be able to shut it."
        )
    hours = result.hours_without_water_per_year
    if hours.value > 0.0 and math.isfinite(hours.error):
        yield f"It takes the water away for about {told(hours)} hours a year without a leak."


def surge_words(surge: Surge) -> str:
    """Return in a sentence what a closing does to the pressure, and what to do about it."""
    rise = (
        f"It can close in {surge.closing_time_s:.2g} s: the pressure before the valve then rises "
        f"by about {surge.rise_bar:.2g} bar (water hammer), to {surge.peak_bar:.2g} bar"
    )
    limit = f"the {surge.limit_bar:.3g} bar that the installation may bear"
    if surge.passes:
        return f"{rise}, below {limit}."
    return f"{rise}, above {limit}: choose slower gears, or fit an arrester beside the valve."


#: For who chooses an actuator.
SIZING: Final = (SPRINKLERS, CODES, BY_HAND, STIFF, UPSTREAM, SEIZED)
#: For who measures a valve.
MEASURING: Final = (UPSTREAM, STIFF, STOP_THERE, LOCAL)
