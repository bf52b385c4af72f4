"""Published figures of water claims that the calibration uses, each with its source."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

#: Fields of the parameters that the cost level multiplies.
COSTS = ("damage_fixed_loss", "damage_area_loss", "damage_contents_loss")

#: Share of claims that a closed main valve can stop; drains, sewers and waterproofing make up the
#: rest. Assumption: 15 to 25 % cannot be stopped.
ISOLABLE = 0.80
_ISOLABLE_RANGE = (0.75, 0.85)


class Published(NamedTuple):
    """A published figure.

    Attributes
    ----------
    value, low, high : float
        What is compared, and the range that counts as agreement.
    source : str
        Title and address, and what was done to the figure.
    """

    value: float
    low: float
    high: float
    source: str


@dataclass(frozen=True)
class Line:
    """One published figure beside its simulated value.

    Attributes
    ----------
    name : str
    published : Published
    simulated, std_error : float
    role : str
        ``fitted`` or ``check``.
    """

    name: str
    published: Published
    simulated: float
    std_error: float
    role: str

    @property
    def inside(self) -> bool:
        """Whether the simulated value lies in the published range, give or take 2 errors."""
        slack = 2.0 * self.std_error
        return self.published.low - slack <= self.simulated <= self.published.high + slack

    @property
    def verdict(self) -> str:
        """Inside the range, or by how much it is off the published value."""
        if self.inside:
            return "inside"
        return f"outside, {self.simulated / self.published.value - 1.0:+.0%}"


class Period(NamedTuple):
    """Figures of other years.

    Attributes
    ----------
    years : str
    frequency, mean_claim : Published
    prices : float
        General price level against that of 2018-2022.
    """

    years: str
    frequency: Published
    mean_claim: Published
    prices: float


def _supply(per_hundred: float, source: str) -> Published:
    """Return the part of a claim frequency that the main valve can stop, per dwelling-year."""
    rate = per_hundred / 100.0
    low, high = (rate * share for share in _ISOLABLE_RANGE)
    return Published(rate * ISOLABLE, low, high, source)


def _near(value: float, source: str, within: float = 0.05) -> Published:
    return Published(value, value * (1.0 - within), value * (1.0 + within), source)


_III = "Insurance Information Institute, Average Homeowners Losses"
_2022 = f"{_III} 2018-2022, water damage and freezing, https://www.iii.org/table-archive/20887"
_2019 = f"{_III} 2015-2019, https://www.iii.org/table-archive/223359/file"
_2015 = f"{_III} 2011-2015, read in a copy of https://www.iii.org/table-archive/220232/file"
_2007 = f"{_III} 2003-2007, https://www.iii.org/table-archive/20887"
_IBHS = "Insurance Institute for Business and Home Safety, https://disastersafety.org"
_GDV = (
    "German insurers' association, figures of 2019 quoted by versicherungsjournal.de 140468 and "
    "lebensraumwasser.com"
)

US = {
    "claim frequency": Published(
        0.0161 * ISOLABLE,
        0.014 * _ISOLABLE_RANGE[0],
        0.021 * _ISOLABLE_RANGE[1],
        f"{_2022}: 1.61 per 100; range 1.4-2.1 of 2003-2022; 80 % (75-85 %) stoppable, assumed",
    ),
    "mean claim": _near(13_954.0, f"{_2022}: USD 13,954; range 5 %, assumed"),
    "empty / occupied": Published(
        math.sqrt(1.42 * 2.5),
        1.4,
        2.5,
        f"{_IBHS}, washing machines, as summarised by an inspector: about 2.5; Home & Legacy, 18 "
        "Aug 2018, over 1,000 claims of costly UK homes: 1.42; between them their geometric mean, "
        "assumed",
    ),
}

TOILET_EMPTY = Published(
    0.175,
    0.14,
    0.21,
    f"{_IBHS}, Toilet Failure Risks: about 14 % of all toilet claims; a third are overflows and "
    "back-ups, which happen in use, so up to 0.14 / (2/3) = 21 % of the others",
)

# Price level: US consumer prices (CPI-U, yearly averages 195.3, 233.0, 245.1, 258.8 for 2005, 2013,
# 2017, 2020), from memory.
PERIODS = (
    Period("2015-2019", _supply(1.90, _2019), _near(11_098.0, _2019), 245.1 / 258.8),
    Period("2011-2015", _supply(2.13, _2015), _near(8_861.0, _2015), 233.0 / 258.8),
    Period("2003-2007", _supply(1.42, _2007), _near(5_531.0, _2007), 195.3 / 258.8),
)

_PIPES = ("pipe joints", "pinholes", "frozen pipe")
_OTHER_PIPES = ("pipe joints", "pinholes")
_IBHS_MEANS = f"{_IBHS}: means after deductible USD 5,092 (pipes), %s; range 25 %%, assumed"

#: Mean claims of some sources over those of others: name, figure, (these sources, those sources).
BY_SOURCE: tuple[tuple[str, Published, tuple[Sequence[str], Sequence[str]]], ...] = (
    (
        "toilets / pipes",
        _near(5584 / 5092, _IBHS_MEANS % "5,584", 0.25),
        (("toilet supplies",), _PIPES),
    ),
    (
        "washing machines / pipes",
        _near(5308 / 5092, _IBHS_MEANS % "5,308 (quoted at studylib.net 18298494)", 0.25),
        (("appliance hoses",), _PIPES),
    ),
    (
        "water heaters / pipes",
        _near(4444 / 5092, _IBHS_MEANS % "4,444 (quoted in trade summaries)", 0.25),
        (("water heater",), _PIPES),
    ),
    (
        "frozen / other pipes",
        _near(2.0, f"{_IBHS}: frozen about twice as severe; range 25 %, assumed", 0.25),
        (("frozen pipe",), _OTHER_PIPES),
    ),
)

GERMAN = {
    "mean claim": _near(2_881.0, f"{_GDV}: EUR 2,881; range 5 %, assumed"),
    "claim frequency": Published(
        1.07 / 41.0 * ISOLABLE,
        1.07 / 41.0 * _ISOLABLE_RANGE[0],
        1.07 / 41.0 * _ISOLABLE_RANGE[1],
        f"{_GDV}: 1.07 million claims; over 41 million dwellings (from memory), which agrees with "
        "5-6 % a year of 19-20 million building policies of 2.1 dwellings; 80 % stoppable, assumed",
    ),
}
