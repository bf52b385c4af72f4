"""What a meter's record says."""

from __future__ import annotations

import html
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shutoffsim import __version__
from shutoffsim.errors import ModelError
from shutoffsim.estimate.plain import plain_fields
from shutoffsim.study.meter.flow import Flaw
from shutoffsim.study.meter.fragment import Limits, write_fragment
from shutoffsim.study.meter.rates import Rate, estimate_rate

if TYPE_CHECKING:
    import pandas as pd

USUAL_FLOW = 0.3  # L/min, the flow above which a rule counts unless a scenario says otherwise
_CHOICE = tuple[str | None, str | None, str]


@dataclass(frozen=True, eq=False)
class MeterReport:
    """The result of :func:`shutoffsim.study.meter.analyse_meter`.

    Attributes
    ----------
    source : str
        The file.
    kind : str
        ``pulses``, ``flow samples`` or ``runs``.
    time_form : str
        How times were read.
    first, last : str
        First and last time of the record.
    rows, used_rows : int
        All rows, and those that count.
    covered_days : float
        Recorded time, without holes.
    hole_days : float
        Time in holes of the recording.
    litres, litres_per_day : float
        All water, and by covered day.
    interval_s : float
        Sampling interval, or the slot that a pulse's time stands for; for runs the fineness of
        their starts.
    pulse_volume_l : float or None
        Litres per pulse, when known.
    gaps, times, volumes : tuple of str
        Gap tolerances and limits that were tried.
    trips : pandas.DataFrame
        Columns ``rule``, ``gap``, ``count``, ``per_year``, ``low``, ``high`` (95 %) and
        ``smallest_leak_l_per_min`` (not-a-number when it cannot be known). A rule that never
        tripped has an estimate above zero, see
        :func:`shutoffsim.study.meter.rates.estimate_rate`.
    distribution : pandas.DataFrame
        By gap: number of runs, and the half, 95 % and longest of their length (``_s``) and
        water (``_l``).
    runs : pandas.DataFrame
        Columns ``gap``, ``start``, ``seconds``, ``litres``: all runs, or the longest 100,000 of
        each gap tolerance.
    labels : pandas.DataFrame or None
        When the rows have labels: events of each, their longest, and how many exceed each time
        limit, every row by itself.
    flaws : tuple of Flaw
        What was odd in the file, with first lines.
    notes : tuple of str
        What a reader must know to use the numbers.
    columns : dict of str to str
        Columns in use, by what they hold.
    unused_columns : tuple of str
    """

    source: str
    kind: str
    time_form: str
    first: str
    last: str
    rows: int
    used_rows: int
    covered_days: float
    hole_days: float
    litres: float
    litres_per_day: float
    interval_s: float
    pulse_volume_l: float | None
    gaps: tuple[str, ...]
    times: tuple[str, ...]
    volumes: tuple[str, ...]
    trips: pd.DataFrame
    distribution: pd.DataFrame
    runs: pd.DataFrame = field(repr=False)
    labels: pd.DataFrame | None
    flaws: tuple[Flaw, ...]
    notes: tuple[str, ...]
    columns: dict[str, str]
    unused_columns: tuple[str, ...]
    pairs: dict[_CHOICE, int] = field(repr=False)
    smallest_leak: dict[str, float] = field(repr=False)

    def rate(self, *, gap: str, time: str | None = None, volume: str | None = None) -> Rate:
        """Estimate how often a rule with one or both limits would have tripped in a year.

        Parameters
        ----------
        gap : str
            One of :attr:`gaps`.
        time, volume : str or None
            One of :attr:`times` and of :attr:`volumes`; a run trips the rule once, when it
            exceeds either.

        Raises
        ------
        ModelError
            When there is no limit, or it was not tried.
        """
        return estimate_rate(self._count(time, volume, gap), self.covered_days)

    def choose_limits(self) -> Limits:
        """Choose limits that the record supports.

        The shortest gap tolerance that still sees 0.3 L/min, else the one that sees the
        smallest leak (the longest, when that cannot be known); then the lowest limits that the
        fewest runs exceed.
        """
        leaks = self.smallest_leak
        enough = [gap for gap in self.gaps if leaks[gap] <= USUAL_FLOW]
        gap = enough[0] if enough else self.gaps[-1]
        time = min(self.times, key=lambda limit: self.pairs[limit, None, gap])
        volume = min(self.volumes, key=lambda limit: self.pairs[None, limit, gap])
        return Limits(gap, time, volume)

    def fragment(
        self, *, gap: str | None = None, time: str | None = None, volume: str | None = None
    ) -> str:
        """Write the part of a scenario that follows from the record, as TOML.

        Parameters
        ----------
        gap, time, volume : str, optional
            Limits among those that were tried; chosen by :meth:`choose_limits` when left out.

        Raises
        ------
        ModelError
            When a limit was not tried.
        """
        chosen = self.choose_limits()
        limits = Limits(gap or chosen.gap, time or chosen.time, volume or chosen.volume)
        count = self._count(limits.time, limits.volume, limits.gap)
        return write_fragment(
            limits,
            count=count,
            rate=estimate_rate(count, self.covered_days),
            smallest_leak=self.smallest_leak[limits.gap],
            pulse_volume=self.pulse_volume_l,
            source=Path(self.source).name,
            days=self.covered_days,
            span=f"{self.first} to {self.last}",
        )

    def as_dict(self) -> dict[str, Any]:
        """Give the result as plain data, without the single runs; unknown numbers are None."""
        data = plain_fields(self)
        for tried in ("gaps", "times", "volumes"):
            del data[tried]
        return {"version": __version__, **data, "fragment": self.fragment()}

    def _count(self, time: str | None, volume: str | None, gap: str) -> int:
        tried = (
            ("gap tolerance", gap, self.gaps),
            ("time limit", time, (None, *self.times)),
            ("volume limit", volume, (None, *self.volumes)),
        )
        for what, value, known in tried:
            if value not in known:
                raise ModelError(
                    f"this {what} was not tried",
                    where=self.source,
                    found=f'"{value}"',
                    expected=f"one of {', '.join(str(one) for one in known if one)}",
                    hint="name it when the record is analysed",
                )
        if time is None and volume is None:
            raise ModelError(
                "a rule needs a limit", where=self.source, expected="a time, a volume, or both"
            )
        return self.pairs[time, volume, gap]

    def _repr_html_(self) -> str:
        head = (
            f"{self.kind}, {self.covered_days:.4g} days, {self.litres_per_day:.3g} L a day; "
            "rates are per year with 95 % intervals"
        )
        tables = [self.trips, self.distribution]
        if self.labels is not None:
            tables.append(self.labels)
        notes = "".join(f"<li>{html.escape(note)}</li>" for note in self.notes)
        return "".join(
            [
                f"<p><b>{html.escape(self.source)}</b>: {html.escape(head)}</p>",
                *(table.to_html(index=False, float_format=_short) for table in tables),
                f"<ul>{notes}</ul>",
            ]
        )


def _short(number: float) -> str:
    return f"{number:.3g}" if abs(number) < 1000 else f"{number:.0f}"
