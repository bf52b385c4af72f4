"""A replay as a timeline that can be read from top to bottom."""

from __future__ import annotations

import math
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from shutoffsim.model.layout import YEAR
from shutoffsim.report.incidents import loss_in_words
from shutoffsim.report.text import wrap
from shutoffsim.study.incidents import loss_parts_of
from shutoffsim.study.words import LITRE, duration, volume

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.study.changes import Event
    from shutoffsim.study.replay import Replay
    from shutoffsim.study.situation import Situation

DAY = 86400.0
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_WIDE = 110  # letters from which the situation gets columns of its own
_LEAST_ROOM = 10
_GAP = 2
_LABELS = ("power", "valve", "sensors", "people")


def moment(seconds: float) -> tuple[str, str, str]:
    """Return year, day of the year and weekday with time of day, from seconds of service.

    The service starts on a Monday, 1 January, at 00:00.

    >>> moment(0.0), moment(366 * 86400.0 + 3660.0)
    (('1', '1', 'Mon 00:00'), ('2', '1', 'Wed 01:01'))
    """
    minutes = int((seconds + 1e-3) // 60.0)  # a clock set to a full minute may ring an ulp before
    day, minute = divmod(minutes, 1440)
    years = YEAR / DAY
    year = int(day // years)
    of_year = day - math.ceil(year * years) + 1
    clock = f"{WEEKDAYS[day % 7]} {minute // 60:02}:{minute % 60:02}"
    return str(year + 1), str(of_year), clock


def print_replay(console: Console, replay: Replay, everything: bool = False) -> None:
    """Print a replay.

    Parameters
    ----------
    console : rich.console.Console
    replay : Replay
        From :func:`shutoffsim.replay`.
    everything : bool
        Show quiet events one by one instead of counting them.
    """
    years = replay.horizon / YEAR
    title = f"{replay.scenario}, “{replay.design}”, seed {replay.seed}, history {replay.history}"
    if replay.probe is not None:
        title += f", probe {replay.probe}"
    console.print(Text(wrap(title, console.width), style="bold"))
    if replay.onset is None:
        console.print(wrap(f"The whole history of {years:g} years.", console.width))
    else:
        year, day, clock = moment(replay.onset)
        console.print(
            wrap(
                f"One incident, from year {year}, day {day}, {clock}. Before it: "
                + "; ".join(replay.beforehand)
                + ".",
                console.width,
            )
        )
    when = "start" if replay.onset is None else "onset"
    console.print(wrap(f"At the {when}: {_in_words(replay.start)}.", console.width))
    console.print()
    console.print(_table(replay, console.width, everything))
    console.print()
    for line in _ends(replay):
        console.print(wrap(line, console.width))


def _table(replay: Replay, width: int, everything: bool) -> Table:
    wide = width >= _WIDE
    rows = list(_rows(replay, wide, everything))
    heads = ["year", "day", "time"] + (["onset"] if replay.onset is not None else [])
    states = list(_LABELS) if wide else []
    table = Table(box=None, pad_edge=False, padding=(0, _GAP // 2), show_edge=False)
    taken = 0
    for at, head in enumerate(heads + states):
        cells = [row[at if at < len(heads) else at + 1] for row in rows]
        taken += _GAP + max(len(head), *(len(str(cell)) for cell in cells))
    room = max(width - taken, _LEAST_ROOM)
    for head in heads:
        table.add_column(head, justify="left" if head == "time" else "right", no_wrap=True)
    table.add_column("what happens", width=room)
    for head in states:
        table.add_column(head, no_wrap=True)
    for row in rows:
        story = "\n".join(_hang(line, room) for line in row[len(heads)].splitlines())
        style = "dim" if story.startswith("(") else ""
        table.add_row(*row[: len(heads)], Text(story, style=style), *row[len(heads) + 1 :])
    return table


def _rows(replay: Replay, wide: bool, everything: bool) -> Iterator[list[str]]:
    """Yield the cells of each row: when, the story with its details in lines, the situation."""
    whens = 3 if replay.onset is None else 4
    shown = replay.start if replay.onset is None else None
    for event in _shown(replay.events, everything):
        if isinstance(event, str):
            yield [""] * whens + [event] + [""] * (len(_LABELS) if wide else 0)
            continue
        lines = [event.what, *(f"- {detail}" for detail in event.details)]
        if shown is not None and not wide:
            lines += _changed(shown, event)
        shown = event.situation
        cells = list(moment(event.time))
        if replay.onset is not None:
            cells.append(_after(event.time - replay.onset))
        states = [getattr(event.situation, label) for label in _LABELS] if wide else []
        yield [*cells, "\n".join(lines), *states]


def _hang(line: str, room: int) -> str:
    """Wrap a line; what belongs to an event is indented below it."""
    if not line.startswith("- "):
        return wrap(line, room)
    return textwrap.indent(wrap(line, room - 4), "    ").replace("    -", "  -", 1)


def _shown(events: Iterable[Event], everything: bool) -> Iterator[Event | str]:
    """Yield the events to show, and a line of counts for the quiet ones between them."""
    quiet: Counter[tuple[str, ...]] = Counter()
    for event in events:
        if event.quiet and not everything:
            quiet[event.quiet] += 1
            continue
        yield from _counts(quiet)
        quiet.clear()
        yield event
    yield from _counts(quiet)


def _counts(quiet: Counter[tuple[str, ...]]) -> Iterator[str]:
    parts = [
        f"{number} {kind[0] if number == 1 else kind[1]}"
        for kind, number in quiet.items()
        if kind[0]
    ]
    if parts:
        yield f"({', '.join(parts)})"


def _after(seconds: float) -> str:
    if seconds < 0.0:
        return f"-{duration(-seconds)}"
    return f"+{duration(seconds)}"


def _changed(before: Situation, event: Event) -> list[str]:
    """Return a line on what is different now and not plain from the event itself."""
    after = event.situation
    parts = [
        f"{label} {getattr(after, label)}"
        for label in _LABELS
        if getattr(after, label) != getattr(before, label)
        and getattr(after, label) not in event.what
    ]
    return [f"- now: {'; '.join(parts)}"] if parts else []


def _in_words(situation: Situation) -> str:
    return ", ".join(f"{label} {getattr(situation, label)}" for label in _LABELS)


def _ends(replay: Replay) -> Iterator[str]:
    if not replay.incidents:
        yield "No leak ended in this history." if replay.onset is None else "The leak was left out."
        return
    for number, row in enumerate(replay.incidents, start=1):
        year, day, clock = moment(row["onset_days"] * DAY)
        mode = row["failure_mode"]
        fate = "automation stopped it in time" if mode == "none" else f"failure mode: {mode}"
        if row["stopped_by"] != "automation" and mode == "none":
            fate = "nothing failed"
        yield (
            f"Leak {number}: “{row['source']}”, year {year}, day {day}, {clock}: "
            f"{volume(row['volume_l'] * LITRE)} escaped, loss {row['loss']:,.0f} {replay.currency} "
            f"({row['insured_loss']:,.0f} insured), stopped by {row['stopped_by']}; {fate}."
        )
        if row["loss"] > 0.0:
            yield f"  of the loss: {loss_in_words(loss_parts_of(row), row['loss_factor'])}"
