"""The sizing of an actuator as text."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from rich.text import Text

from shutoffsim.report.text import (
    Column,
    align,
    bullet,
    chance,
    plus_minus,
    print_table,
    torque_text,
    wrap,
)
from shutoffsim.study.digits import amount
from shutoffsim.study.size.need import IN_USE
from shutoffsim.study.size.window import LIMITS
from shutoffsim.study.size.worth import FLAT
from shutoffsim.study.words import duration

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.study.size import Sizing
    from shutoffsim.study.size.supply import Condition

_UNIT = "N*m"
_LEAST_PART = 5e-4  # of the demands: a rarer way to fail is not worth a word


def print_sizing(
    console: Console, result: Sizing, *, full: bool = True, file: str = "FILE"
) -> None:
    """Print a sizing: the recommendation first, then one table, or all that it rests on.

    Parameters
    ----------
    console : rich.console.Console
        Where to, from :func:`shutoffsim.report.text.make_console`.
    result : Sizing
        From :func:`shutoffsim.study.size.size`.
    full : bool
        All tables, not just one.
    file : str
        The scenario, as it would be typed.
    """
    width = console.width

    def say(text: str) -> None:
        console.print(wrap(text, width))

    console.print(
        Text(wrap(f"{result.scenario}, “{result.design}”: size of the actuator", width),
             style="bold")
    )  # fmt: skip
    console.print()
    say(result.recommendation)
    for reason in result.reasons:
        console.print(bullet(reason, width))
    parts: tuple[Callable[[Console, Sizing], None], ...] = (
        _print_ladder,
        _print_histories,
        _print_window,
        _print_need,
        _print_available,
        _print_intervals,
    )
    for part in parts if full else (_print_answer,):
        console.print()
        part(console, result)
    console.print()
    console.print(Text("Cautions", style="bold"))
    for caution in result.cautions:
        console.print(bullet(caution, width))
    console.print()
    if not full:
        say(f"All tables: shutoffsim size {file} --full")
    say(
        f"{result.valves:,} valves with {result.demands} demands each; {result.histories:,} "
        f"histories of {result.horizon_years:g} years for each rating and each interval; seed "
        f"{result.seed}; the valve: {result.belief}; {len(result.assumptions)} values are "
        f"assumptions or from memory (shutoffsim check lists them); scenario "
        f"{result.scenario_hash}, shutoffsim {result.version}."
    )


def _print_answer(console: Console, result: Sizing) -> None:
    """Print the one table that the recommendation rests on."""
    rows = result.shortfalls
    names = tuple(
        f"{torque_text(rung.rating)}{' (in use)' if rung.own else ''}" for rung in result.rungs
    )
    saves = tuple(
        "" if row.step is None else _plus_minus(row.step.value, row.step.error)
        for row in result.worths
    )
    print_table(
        console,
        Column(f"rating, {_UNIT}", names),
        [
            plus_minus("torque fails", [row.failure for row in rows], 100.0, "%"),
            Column("enough for", tuple(chance(row.meets.value) for row in rows)),
            Column("cannot reopen", tuple(chance(row.stuck) for row in rows)),
            Column("torque margin", align([f"{row.headroom[1]:.2g}" for row in rows])),
            Column(f"saves, {result.currency}", saves),
        ],
        "",
    )
    console.print(
        wrap(
            "Torque fails: share of the demands, seized valves left out. Enough for: share of "
            f"valves like this one on which at most {_percent(result.target)} fail. Torque margin: "
            "torque available divided by what 95 % of the demands do not exceed. Saves: this step, "
            "a year. "
            f"{_worth_of_step(result)}",
            console.width,
        )
    )


def _head(console: Console, title: str, text: str) -> None:
    console.print(Text(title, style="bold"))
    console.print(wrap(text, console.width))


def _print_ladder(console: Console, result: Sizing) -> None:
    _head(
        console,
        "Torque, rating by rating",
        "Probability that torque fails on demand, seized valves excluded: mean with half the 95 "
        "% interval of the simulation, and the range for nine valves in ten, since this valve is "
        f"not known. Enough: share of valves at or below the target of {_percent(result.target)}. "
        "Torque margin: torque available divided by the torque that 50, 95 or 99 % of the "
        "demands do not exceed; below 1 it falls short.",
    )
    rows = result.shortfalls
    names = tuple(
        f"{torque_text(rung.rating)}{' (in use)' if rung.own else ''}" for rung in result.rungs
    )
    print_table(
        console,
        Column(f"rating, {_UNIT}", names),
        [
            Column(f"on this supply, {_UNIT}", align([torque_text(row.available) for row in rows])),
            plus_minus("torque fails", [row.failure for row in rows], 100.0, "%"),
            Column(
                "nine valves in ten",
                tuple(_valves(row.valves_low, row.valves_high) for row in rows),
            ),
            Column("enough", tuple(chance(row.meets.value) for row in rows)),
            Column("cannot reopen", tuple(chance(row.stuck) for row in rows)),
            Column("fails on a bad day", tuple(chance(row.bad_day) for row in rows)),
            *(
                Column(
                    f"torque margin {share} %",
                    align([f"{row.headroom[i]:.2g}" for row in rows]),
                )
                for i, share in enumerate((50, 95, 99))
            ),
        ],
        "",
    )
    ways = [
        f"{torque_text(row.rating)}: " + ", ".join(
            f"{name} {_percent(share)}"
            for name, share in sorted(row.parts.items(), key=lambda item: -item[1])
            if share >= _LEAST_PART
        )
        for row in rows
        if max(row.parts.values(), default=0.0) >= _LEAST_PART
    ]  # fmt: skip
    if ways:
        console.print(wrap("How it fails: " + "; ".join(ways) + ".", console.width))
    sheets: dict[str, list[str]] = {}
    for rung in result.rungs:
        sheets.setdefault(rung.sheet, []).append(torque_text(rung.rating))
    text = "; ".join(f"{', '.join(ratings)}: {sheet}" for sheet, ratings in sheets.items())
    console.print(wrap(f"Data sheets: {text}.", console.width))


def _print_histories(console: Console, result: Sizing) -> None:
    rows = result.worths
    _head(
        console,
        "What a larger rating is worth",
        "From whole histories, with everything else that can fail. Torque fails: share of the "
        "leaks' demands that fail for lack of torque, or through what torque broke or wore "
        "earlier (seized and broken valves, burnt motors, stripped gears, slipped mounts and "
        "brown-outs).",
    )
    columns = [
        plus_minus("torque fails", [row.failure for row in rows], 100.0, "%"),
        plus_minus(f"expected annual damage, {result.currency}", [row.damage for row in rows]),
        Column(
            "this step saves a year",
            tuple(
                "" if row.step is None else _plus_minus(row.step.value, row.step.error)
                for row in rows
            ),
        ),
    ]
    if any(row.step_price is not None for row in rows):
        columns.append(
            Column(
                "and costs a year",
                tuple("" if r.step_price is None else f"{r.step_price:,.2f}" for r in rows),
            )
        )
    label = Column(f"rating, {_UNIT}", tuple(torque_text(r.rating) for r in rows))
    print_table(console, label, columns, "")
    console.print(wrap(_worth_of_step(result), console.width))


def _valves(low: float, high: float) -> str:
    if _percent(low) == _percent(high):
        return _percent(high)
    return f"{_bare(low)} to {_percent(high)}"


def _worth_of_step(result: Sizing) -> str:
    chosen = next((row for row in result.worths if row.rating == result.recommended), None)
    if chosen is None or chosen is result.worths[result.own]:
        return "A step pays if its price is less than what it saves over the service life."
    own = result.worths[result.own]
    step = f"from {torque_text(own.rating)} to {torque_text(chosen.rating)} {_UNIT}"
    gain, error = chosen.gain.value, chosen.gain.error
    if gain < 0.0:
        cost = f"{_plus_minus(-gain, error)} {result.currency}"
        return f"Going down {step} costs {cost} a year in damage, against a lower price."
    return f"Going {step} is worth up to {_plus_minus(gain, error)} {result.currency} a year."


def _print_window(console: Console, result: Sizing) -> None:
    window = result.window
    _head(
        console,
        "Between too weak and too strong",
        f"Torque at the shaft, {_UNIT}; each bound with {_percent(result.confidence)} confidence. "
        "Relaxed mount: at the end of the service life.",
    )
    rows = [
        ("required by the valve", window.lower),
        ("available, weak unit", window.weak),
        ("available, strong unit", window.strong),
        *(
            (LIMITS[name].replace(" of the", ","), bound)  # short: a table's label
            for name, bound in window.upper.items()
        ),
    ]
    print_table(
        console,
        Column("torque", tuple(name for name, _ in rows)),
        [Column(_UNIT, align([_three(value) for _, value in rows]))],
        "",
    )
    name, bound = window.least_upper
    if window.empty:
        text = (
            f"The window is empty: the valve needs {_three(window.lower)} {_UNIT}, but the "
            f"{LIMITS[name]} is only {_three(bound)}. Remedies: {'; '.join(window.remedies)}."
        )
    else:
        text = (
            f"Any torque from {_three(window.lower)} to {_three(bound)} {_UNIT} closes the valve "
            f"and damages nothing; the first limit above is the {LIMITS[name]}."
        )
    console.print(wrap(text, console.width))
    console.print(
        wrap(
            "Data sheets give no torque at which gears strip; in the model each stall strips them "
            f"with a chance of {_percent(window.strip_chance)}, whatever the rating.",
            console.width,
        )
    )


def _print_need(console: Console, result: Sizing) -> None:
    _head(
        console,
        "What the valve needs",
        f"Torque to close at a demand, {_UNIT}, that 50, 95 and 99 % of the demands do not "
        f"exceed, by how often the valve is exercised (in use: {duration(result.exercise)}); in "
        "brackets, the share of demands that meet a seized valve.",
    )
    names = list(dict.fromkeys(row.exercise for row in result.needs))
    years = list(dict.fromkeys(row.years for row in result.needs))
    cells = {
        (row.exercise, row.years): " ".join(
            [*(f"{torque_text(x):>4}" for x in row.quantiles), _seized(row.seized)]
        ).rstrip()
        for row in result.needs
    }
    print_table(
        console,
        Column("years from now", tuple(f"{y:.3g}" if y else "now" for y in years)),
        [Column(name, tuple(cells[name, y] for y in years)) for name in names],
        "",
    )
    console.print()
    console.print(
        wrap(
            f"Make-up of a stiff demand (95 %), exercise as {IN_USE}: a typical new valve, and "
            "what the spread between valves, age and idle time each add.",
            console.width,
        )
    )
    rows = result.makeup
    print_table(
        console,
        Column("years from now", tuple(f"{r.years:.3g}" if r.years else "now" for r in rows)),
        [
            Column(head, align([torque_text(value) for value in values]))
            for head, values in (
                ("typical new", [r.typical for r in rows]),
                ("spread adds", [r.spread for r in rows]),
                ("age adds", [r.age for r in rows]),
                ("idle time adds", [r.idle for r in rows]),
                ("95 % need up to", [r.total for r in rows]),
            )
        ]
        + [Column("seized", tuple(_percent(r.seized) for r in rows))],
        "",
    )


def _print_available(console: Console, result: Sizing) -> None:
    cutoff = result.stall_cutoff
    ends = f"after {duration(cutoff)}" if math.isfinite(cutoff) else "never"
    again = f", {result.attempts} attempts a demand" if result.attempts > 1 else ""
    _head(
        console,
        "Torque available from the actuator in use",
        "At stall, for a median unit. Closes in: against "
        f"{' and '.join(map(torque_text, result.closing_torques))} {_UNIT}, the torque that 50 "
        "and 95 % of the demands do not exceed at the end of the service life. The controller "
        f"cuts off {ends}{again}. Stall margin: time until the winding burns, less the cut-off "
        "time.",
    )
    rows = result.conditions
    print_table(
        console,
        Column("condition", tuple(row.name for row in rows)),
        [
            Column(_UNIT, align([torque_text(row.torque) for row in rows])),
            Column("A", align([f"{row.current:.2f}" for row in rows])),
            Column("rail, V", align([f"{row.rail:.1f}" for row in rows])),
            Column("closes in", tuple(_closing(row) for row in rows)),
            Column("burns after", tuple(_seconds(row.burning, "never") for row in rows)),
            Column("stall margin", tuple(_margin(row.burning, row.margin) for row in rows)),
        ],
        "",
    )
    notes = [f"{row.name}: {row.source}" for row in rows if row.source != "the scenario"]
    console.print(wrap("Conditions: " + "; ".join(notes) + ".", console.width))


def _print_intervals(console: Console, result: Sizing) -> None:
    curve = result.curve
    known = f" ({curve.wear_from})" if curve.wear_from else ": its cost is not stated"
    _head(
        console,
        "How often to exercise",
        f"Cost a year, {result.currency}: damage, upkeep ({curve.upkeep:g} at any interval) and "
        f"exercising{known}. Above the minimum: paired difference on the same histories.",
    )
    rows = curve.rows
    print_table(
        console,
        Column("exercise", tuple(_interval(row.interval) for row in rows)),
        [
            plus_minus("expected annual damage", [row.damage for row in rows]),
            Column("exercising", align([f"{row.wear:.2f}" for row in rows])),
            Column(
                "above the minimum",
                tuple(
                    "minimum"
                    if row.interval == curve.best
                    else _plus_minus(row.excess.value, row.excess.error)
                    for row in rows
                ),
            ),
        ],
        "",
    )
    console.print(
        wrap(
            f"Minimum: {_interval(curve.best)}. Within {_percent(FLAT)} of it: "
            f"{_span(*curve.flat)}. Not distinguishable from it by the simulation: "
            f"{_span(*curve.alike)}.",
            console.width,
        )
    )


def _span(short: float, long: float) -> str:
    if short == long:
        return "no other interval tried"
    return f"{_interval(short)} to {_interval(long)}"


def _interval(seconds: float) -> str:
    return "never" if math.isinf(seconds) else f"every {duration(seconds)}"


def _seized(share: float) -> str:
    return f"({_percent(share)})" if share > 0.0 else ""


def _three(value: float) -> str:
    return f"{value:.3g}" if math.isfinite(value) else "no bound"


def _percent(share: float) -> str:
    return f"{_bare(share)} %"


def _bare(share: float) -> str:
    value = 100.0 * share
    if 0.0 < value < 0.05:
        return "<0.1"
    return f"{value:.2g}" if value < 10.0 else f"{value:.0f}"


def _closing(row: Condition) -> str:
    stuck = "brown-out" if row.brown_out else "stalls"
    usual, stiff = _seconds(row.closing, stuck), _seconds(row.closing_stiff, stuck)
    return usual if usual == stiff else f"{usual}, {stiff}"


def _seconds(value: float, never: str) -> str:
    if not math.isfinite(value):
        return never
    return f"{value:.1f} s" if value < 10.0 else f"{value:.0f} s"


def _margin(burning: float, margin: float) -> str:
    if math.isinf(burning):
        return ""
    if margin == -math.inf:
        return "burns"
    return f"{margin:+.1f} s" if abs(margin) < 10.0 else f"{margin:+.0f} s"


def _plus_minus(value: float, std_error: float) -> str:
    return f"{amount(value, std_error)} ± {amount(1.96 * std_error, std_error)}"
