"""Dormant failures found by tests: one actuator, sensors that vote, the best test interval."""

from __future__ import annotations

from functools import partial

from runs import failing
from support.agreement import Check, LeftOut

TABLES = "IEC 61508-6:2010, tables B.2 to B.5, recomputed from the formulae of B.3.2.2"
EXAMPLE = "IEC 61508-6:2010, B.3.2.4"
AVERAGES = "average over the test interval of the binomial probability"
LINEAR = (
    "the tables hold the first term of a series in rate x interval, which is too large where that "
    "is not small (and exceeds 1 in the end); shutoffsim must meet the average without "
    "approximation instead."
)
REPAIR = (
    "one actuator; the tables' mean time to restoration of 8 h is its repair time, the diagnostic "
    "coverage its share of failures detected at once, the proof test its exercise."
)
VOTES = (
    "sensors that vote, dormant failures only; the replacement after a test takes no time, where "
    "the tables have 8 h (at most 0.2 % of the value)."
)

COVERAGES = (0.0, 0.6, 0.9, 0.99)


# --- one actuator -------------------------------------------------------------------------------


def actuators(rate: float, interval: float) -> tuple[str, ...]:
    """One design for each diagnostic coverage; ``rate`` per h, ``interval`` in h."""
    return tuple(
        f"""
        actuator = {{failure_rate = "{rate:g} per h", diagnostic = {coverage}, repair = "8 h"}}
        exercise.interval = "{interval:g} h"
        """
        for coverage in COVERAGES
    )


def column(
    rate: float,
    interval: float,
    printed: tuple[str | None, ...],
    histories: int,
    intervals: int = 10,
) -> list[Check]:
    """Return the checks of one row of the tables, 1oo1."""
    designs = actuators(rate, interval)
    checks = []
    for number, value in enumerate(printed):
        if value is None:
            continue
        checks.append(
            Check(
                "One channel with diagnostics (1oo1)",
                f"{rate:.1E}/h, T1 {interval:g} h, DC {COVERAGES[number]:.0%}",
                failing(designs, number, histories, f"{interval * intervals:g} h"),
                TABLES,
                "computed",
                value,
                note=REPAIR,
            )
        )
    return checks


ONE_CHANNEL = [
    *column(5e-6, 4380, ("1.1E-2", "4.4E-3"), 12000, 20),
    *column(2.5e-5, 4380, ("5.5E-2", "2.2E-2", "5.7E-3"), 8000, 20),
    *column(5e-6, 8760, ("2.2E-2", "8.8E-3", "2.2E-3"), 16000, 20),
    *column(2.5e-6, 17520, ("2.2E-2", "8.8E-3", "2.2E-3"), 16000),
    *column(2.5e-5, 17520, (None, None, "2.2E-2", "2.4E-3"), 10000),
    *column(5e-7, 87600, ("2.2E-2", "8.8E-3"), 10000),
]


def single(rate: float, interval: float) -> str:
    """One actuator without diagnostics, repaired at once."""
    return f"""
    actuator.failure_rate = "{rate:g} per h"
    exercise.interval = "{interval:g} h"
    """


WRONG_SINGLE = [
    Check(
        "Where the linear formula fails",
        f"1oo1, {rate:.1E}/h, T1 {interval:g} h",
        failing((single(rate, interval),), 0, 20000, f"{interval * 10:g} h"),
        TABLES,
        "computed",
        printed,
        exact=exact,
        refuted=LINEAR,
    )
    for rate, interval, printed, exact in (
        (2.5e-5, 8760, "1.1E-1", "1.019257E-1"),
        (5e-6, 87600, "2.2E-1", "1.902415E-1"),
        (2.5e-5, 87600, "1.1E+0", "5.944758E-1"),
    )
]


# --- voting -------------------------------------------------------------------------------------


def sensors(needed: int, of: int, rate: float, interval: float, common: float = 0.0) -> str:
    """Sensors with dormant failures, all tested together."""
    lines = [
        f"detection = {{votes = {needed}, common_cause = {common}, "
        f'test_interval = "{interval:g} h"}}',
        f'sensors.a.failure_rate = "{rate:g} per h"',
    ]
    for name in "bc"[: of - 1]:
        lines.append(
            f'sensors.{name} = {{kind = "wired", zone = "room", reach_chance = 1, '
            f'reach_area = "1 mm2", failure_rate = "{rate:g} per h", supervised = false, '
            "attempt_success = 1, attempts = 1}"
        )
    return "\n".join(lines)


ARCHITECTURES = ((1, 2, 0.02), (1, 2, 0.1), (1, 2, 0.2), (2, 3, 0.1), (1, 3, 0.1))


def row(
    rate: float,
    interval: float,
    histories: int,
    cells: dict[int, tuple[str, str]],
    refuted: tuple[int, ...] = (),
    intervals: int = 20,
) -> list[Check]:
    """Return the checks of one row of the tables, DC 0, by number in ARCHITECTURES."""
    designs = tuple(
        sensors(needed, of, rate, interval, common)
        for needed, of, common in (ARCHITECTURES[number] for number in cells)
    )
    checks = []
    for at, (number, (printed, exact)) in enumerate(cells.items()):
        needed, of, common = ARCHITECTURES[number]
        wrong = number in refuted
        checks.append(
            Check(
                "Where the linear formula fails" if wrong else "Voting with common cause",
                f"{needed}oo{of}, {rate:.1E}/h, T1 {interval:g} h, beta {common:.0%}",
                failing(designs, at, histories, f"{interval * intervals:g} h"),
                TABLES,
                "computed",
                printed,
                exact=exact,
                refuted=LINEAR if wrong else "",
                note="" if wrong else VOTES,
            )
        )
    return checks


VOTING = [
    *row(
        5e-6,
        8760,
        20000,
        {
            0: ("1.1E-3", "1.032318E-3"),
            1: ("2.7E-3", "2.688103E-3"),
            2: ("4.8E-3", "4.763299E-3"),
            3: ("3.8E-3", "3.661592E-3"),
            4: ("2.2E-3", "2.201384E-3"),
        },
    ),
    *row(
        2.5e-5,
        8760,
        12000,
        {
            0: ("1.8E-2", "1.525593E-2"),
            1: ("2.4E-2", "2.188956E-2"),
            3: ("5.0E-2", "4.094384E-2"),
            4: ("1.3E-2", "1.236220E-2"),
        },
        refuted=(0, 1, 3),
    ),
    *row(
        5e-6,
        87600,
        6000,
        {
            1: ("7.4E-2", "5.929724E-2"),
            3: ("1.8E-1", "1.159562E-1"),
            4: ("3.7E-2", "3.096519E-2"),
        },
        refuted=(1, 3, 4),
        intervals=10,
    ),
    *row(
        2.5e-5,
        87600,
        2000,
        {1: ("1.4E+0", "4.255407E-1"), 3: ("4.0E+0", "6.157109E-1"), 4: ("2.0E+0", "3.304583E-1")},
        refuted=(1, 3, 4),
        intervals=10,
    ),
]

INDEPENDENT = ((1, 1), (1, 2), (2, 3), (2, 2))


def averages(rate: float, histories: int, exact: tuple[str, ...]) -> list[Check]:
    """Return checks against the average without approximation: no common cause, yearly tests."""
    designs = tuple(sensors(needed, of, rate, 8760) for needed, of in INDEPENDENT)
    return [
        Check(
            "Averages without approximation",
            f"{needed}oo{of}, {rate:.1E}/h, T1 8760 h",
            failing(designs, number, histories, "175200 h"),
            AVERAGES,
            "computed",
            exact=value,
        )
        for number, ((needed, of), value) in enumerate(zip(INDEPENDENT, exact, strict=True))
    ]


AVERAGED = [
    *averages(5e-6, 20000, ("2.158373E-2", "6.188958E-4", "1.816816E-3", "4.254857E-2")),
    *averages(2.5e-5, 10000, ("1.019257E-1", "1.360979E-2", "3.676954E-2", "1.902415E-1")),
]


# --- a system, an imperfect test ----------------------------------------------------------------


def valves(*rates: float) -> str:
    """Shut-down valves in series, DC 60 %: failures of either, so one with the sum of the rates."""
    return f"""
    actuator = {{failure_rate = "{sum(rates):g} per h", diagnostic = 0.6, repair = "8 h"}}
    exercise.interval = "8760 h"
    """


SYSTEM_DESIGNS = (
    valves(2.5e-6),
    valves(5e-6),
    valves(2.5e-6, 5e-6) + sensors(2, 3, 2.5e-7, 8760, 0.2),
)
SYSTEM_NOTE = (
    "sensors 2oo3 with their undetected failures only, a beta of 20 %; both valves, which fail as "
    "one with the sum of their rates. Left out: the detected failures of the sensors (0.01 % of "
    "the sum) and the logic (0.04 %). Simultaneous failures count once."
)
SYSTEM = [
    Check(
        "A worked system",
        name,
        failing(SYSTEM_DESIGNS, number, 16000, "175200 h"),
        EXAMPLE,
        "from memory",
        printed,
        note=SYSTEM_NOTE if number == 2 else "",
    )
    for number, (name, printed) in enumerate(
        (("shut-down valve", "4.4E-3"), ("vent valve", "8.8E-3"), ("whole system", "1.3E-2"))
    )
]

IMPERFECT = Check(
    "Imperfect test",
    "1oo1, 2.5E-6/h, 90 % found yearly, the rest after 10 years",
    failing(
        (
            # 90 % of the failures in an actuator that is exercised yearly, the others in a sensor
            # that is tested after ten years: either one is a failure of the channel.
            single(0.9 * 2.5e-6, 8760) + sensors(1, 1, 0.1 * 2.5e-6, 87600),
        ),
        0,
        24000,
        "87600 h",
    ),
    "average of the exact unavailability over 10 years",
    "computed",
    exact="2.0551E-2",
    note=(
        "the linear formula gives 2.0805E-2. The part of the failures that a yearly test never "
        "finds is put into a sensor in series; the coverage of an exercise in a scenario is a "
        "chance that is drawn anew each time, which is another thing."
    ),
)


# --- the best test interval ---------------------------------------------------------------------


def out_of_service(rate: float, interval: float, outage: float) -> str:
    """An actuator that an exercise of ``outage`` h takes out of service every ``interval`` h."""
    return f"""
    {single(rate, interval)}
    exercise.outage = "{outage:g} h"
    damage.late_volume = "0.05 L"
    """


OPTIMUM_NOTE = (
    "U at the best interval sqrt(2 tau / lambda). The interval is between the starts of exercises, "
    "so it is T + tau; a leak during one counts as a failure on demand (late). A fault that comes "
    "up during an exercise waits for the next one, which adds the share lambda tau / U, at most "
    "0.2 %, hence the allowance."
)


def optimum(rate: float, outage: float, best: float, exact: str, histories: int) -> list[Check]:
    """Return checks of U at the best interval, at half of it and at twice it."""
    lowest = float(exact)
    places = {1.0: lowest, 0.5: None, 2.0: None}
    designs = tuple(out_of_service(rate, best * part + outage, outage) for part in places)
    make = partial(
        Check,
        "Best test interval",
        source="U(T) = lambda T / 2 + tau / T (probabilistic risk assessment, common formula)",
        evidence="computed",
        note=OPTIMUM_NOTE,
    )
    name = f"{rate:.1E}/h, {outage:g} h out of service"
    life = "87600 h"
    return [
        make(
            f"{name}, U at T* = {best:g} h",
            failing(designs, 0, histories, life),
            exact=exact,
            within=0.002 * lowest,
        ),
        *(
            make(
                f"{name}, U at {word} T*",
                failing(designs, number, histories, life),
                exact=f"{1.25 * lowest:.3E}",
                within=0.004 * lowest,
            )
            for number, word in ((1, "half"), (2, "twice"))
        ),
    ]


OPTIMUM = [
    *optimum(1e-5, 1.0, 446.9, "4.459E-3", 12000),
    *optimum(1e-6, 2.0, 1999.3, "1.997E-3", 16000)[:1],
]

# --- failures that show ------------------------------------------------------------------------


def supervised(number: int, rate: float, repair: float) -> str:
    """Sensors whose failures are known at once and mended in an exponential time (h)."""
    text = sensors(1, number, rate, 8760)
    text = text.replace("supervised = false", "supervised = true")
    text = text.replace(
        'test_interval = "8760 h"',
        f'test_interval = "never", replacement = {{mean = "{repair:g} h"}}',
    )
    return text + "\nsensors.a.supervised = true"


DETECTED_DESIGNS = tuple(supervised(number, 0.05, 2.0) for number in (1, 2, 3))
DETECTED = [
    Check(
        "Failures that show, under repair",
        f"{number} unit{'s' if number > 1 else ''} down at once, lambda / mu = 0.1",
        failing(DETECTED_DESIGNS, number - 1, 12000, "4000 h"),
        "U = (lambda / (lambda + mu))^n",
        "computed",
        exact=f"{(0.1 / 1.1) ** number:.6E}",
        note=(
            "the ratio is far larger than in the published comparisons of rare-event methods (1E-3 "
            "and below), which plain sampling cannot reach. All units work at the start, which "
            "takes less than 0.1 % off the average over the service life."
        ),
    )
    for number in (1, 2, 3)
]

CHECKS = [
    *ONE_CHANNEL,
    *VOTING,
    *WRONG_SINGLE,
    *AVERAGED,
    *SYSTEM,
    IMPERFECT,
    *OPTIMUM,
    *DETECTED,
]
CHECKS.sort(key=lambda check: check.group == "Where the linear formula fails")

LEFT_OUT = [
    LeftOut(
        "IEC 61508-6 tables: voting with diagnostic coverage of 60, 90 and 99 %",
        "a sensor is supervised or it is not: none has failures of which a share is detected",
    ),
    LeftOut(
        "IEC 61508-6 tables: most cells below 2E-3",
        "the checks sample plainly, which would need tens of millions of leaks for a few per "
        "cent; pfd, which weights histories, meets exact rare answers in tests/test_demand.py",
    ),
    LeftOut(
        "IEC 61508-6 B.3.2.4: the lines of the sensors (2.3E-4) and of the logic 1oo2D (4.8E-6)",
        "the detected failures that make up their last digit are not in a sensor; there is one "
        "controller, not two",
    ),
    LeftOut(
        "IEC 61508-6: imperfect test of two voting channels",
        "two kinds of failure in each of two channels; a sensor has one",
    ),
    LeftOut(
        "Queue M/M/1 reaching n before 0, and n units down at rates of 1E-3 and below",
        "no part of shutoffsim is a random walk; its own weighting of rare failures (pfd) is "
        "tested on exact answers of the system, tests/test_demand.py and tests/test_estimator.py",
    ),
    LeftOut(
        "Detected mode, 1E-5/h and 8 h: 7.99936E-5 against the linear 8.0E-5",
        "telling them apart needs a relative error below 3E-5, sharper than any run here",
    ),
]
