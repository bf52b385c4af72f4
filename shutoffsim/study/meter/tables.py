"""From counts to tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from shutoffsim.records.times import SECOND
from shutoffsim.study.meter.flow import NANOLITRE
from shutoffsim.study.meter.rates import estimate_rate
from shutoffsim.study.meter.runs import LabelTally, Tally

Pairs = dict[tuple[str | None, str | None, str], int]


@dataclass(frozen=True)
class Counted:
    """Tallies with the texts of their gap tolerances and limits.

    Parameters
    ----------
    gaps, times, volumes : tuple of str
    tallies : list of Tally
        One for each gap tolerance.
    """

    gaps: tuple[str, ...]
    times: tuple[str, ...]
    volumes: tuple[str, ...]
    tallies: list[Tally]

    def pairs(self) -> Pairs:
        """Count the trips of all rules with a time limit, a volume limit, or both."""
        times = [(None, None), *((place, text) for place, text in enumerate(self.times))]
        volumes = [(None, None), *((place, text) for place, text in enumerate(self.volumes))]
        return {
            (time, volume, gap): tally.trips(row, column)
            for gap, tally in zip(self.gaps, self.tallies, strict=True)
            for row, time in times
            for column, volume in volumes
            if not (time is None and volume is None)
        }

    def trips(
        self,
        pairs: Pairs,
        days: float,
        leaks: dict[str, float],
    ) -> pd.DataFrame:
        """Tabulate the rules with one limit."""
        rules: list[tuple[str, str | None, str | None]] = [
            *((f"longer than {time}", time, None) for time in self.times),
            *((f"more than {volume}", None, volume) for volume in self.volumes),
        ]
        rows = []
        for gap in self.gaps:
            for rule, time, volume in rules:
                count = pairs[time, volume, gap]
                rate = estimate_rate(count, days)
                rows.append((rule, gap, count, *rate, leaks[gap]))
        names = ["rule", "gap", "count", "per_year", "low", "high", "smallest_leak_l_per_min"]
        return pd.DataFrame(rows, columns=names)

    def distribution(self) -> pd.DataFrame:
        """Tabulate lengths and water of the runs."""
        rows = []
        for gap, tally in zip(self.gaps, self.tallies, strict=True):
            row: dict[str, Any] = {"gap": gap, "runs": tally.runs}
            for quantiles, scale, unit in (
                (tally.lengths, 1 / SECOND, "s"),
                (tally.amounts, NANOLITRE, "l"),
            ):
                row[f"median_{unit}"] = quantiles.at(0.5) * scale
                row[f"p95_{unit}"] = quantiles.at(0.95) * scale
                row[f"longest_{unit}" if unit == "s" else f"largest_{unit}"] = (
                    quantiles.largest * scale
                )
            rows.append(row)
        return pd.DataFrame(rows)

    def kept(self) -> pd.DataFrame:
        """Tabulate the runs one by one."""
        parts = []
        for gap, tally in zip(self.gaps, self.tallies, strict=True):
            runs = tally.kept()
            parts.append(
                pd.DataFrame(
                    {
                        "gap": gap,
                        "start": runs.wall.astype("datetime64[us]"),
                        "seconds": (runs.end - runs.start) / SECOND,
                        "litres": runs.volume * NANOLITRE,
                    }
                )
            )
        return pd.concat(parts, ignore_index=True)


def tabulate_labels(labels: LabelTally, times: tuple[str, ...]) -> pd.DataFrame:
    """Tabulate what was counted of each label."""
    rows = [
        {"label": name, "events": seen.events, "litres": seen.litres, "longest_s": seen.longest}
        | {f"longer than {time}": n for time, n in zip(times, seen.over, strict=True)}
        for name, seen in labels.counts().items()
    ]
    return pd.DataFrame(rows)
