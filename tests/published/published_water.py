"""Flow out of holes and through pipes."""

from __future__ import annotations

import math
from collections.abc import Callable

from runs import over_probes
from support.agreement import Check, Found, LeftOut

from shutoffsim.scenario.pipes import density, full_bore_flow, viscosity
from shutoffsim.scenario.schema.water import SupplyPipe

ORIFICE = "WNTR manual (US EPA), hydraulics, leak model d = Cd A sqrt(2 g h); g 9.81 m/s2"
FRICTION = "documentation of the fluids library, friction_factor"
CRANE = "Crane TP-410, solved problem {}, as carried by the fluids library's examples"

HEAD = density(10.0) * 9.81  # Pa per metre of water, of the density that leaks have
DENSITY, VISCOSITY = density(10.0), viscosity(10.0)
GALLON_A_MINUTE = 3.785411784e-3 / 60.0


def hole(diameter: str, metres: float, discharge: float = 0.75) -> str:
    """A leak through a round hole, behind a supply without loss."""
    return f"""
    dwelling.pressure = "{metres * HEAD:.6f} Pa"
    dwelling.full_bore_flow = "1e7 m3/h"
    leaks.hose = {{hole_diameter = "{diameter}", discharge = {discharge}}}
    """


def flow(changes: str) -> Callable[[], Found]:
    """Return how to find the mean flow of a leak at onset, L/min."""
    return over_probes(changes, lambda rows: rows["flow"] * 60000.0, histories=16)


def share(changes: str, of: str) -> Callable[[], Found]:
    def find() -> Found:
        return Found(flow(changes)().value / flow(of)().value)

    return find


HOLES = [
    Check(
        "Flow out of a hole",
        f"{diameter} hole, {metres:g} m of water, Cd 0.75, L/min",
        flow(hole(diameter, metres)),
        ORIFICE,
        "computed",
        printed,
        note="the numbers come from the program that the manual belongs to.",
    )
    for diameter, metres, printed in (("5 mm", 30, "21.43643"), ("10 mm", 30, "85.746"))
] + [
    Check(
        "Flow out of a hole",
        f"half the pressure on {what}, share of the flow",
        share(half, whole),
        "https://iwaponline.com/aqua/article-abstract/56/2/117/30736/: holes near 0.5",
        "secondary",
        "0.707",
        note="a leak has the exponent 0.5 only; the field values of 0.36 to 2.95 stay outside.",
    )
    for what, half, whole in (
        ("a hole behind a supply without loss", hole("5 mm", 15), hole("5 mm", 30)),
        (
            "a torn hose behind a supply with loss",
            'dwelling = {pressure = "1.5 bar", full_bore_flow = "20 L/min"}',
            'dwelling = {pressure = "3 bar", full_bore_flow = "20 L/min"}',
        ),
    )
]


# --- pipes ----------------------------------------------------------------------------------------


def pipe(length: float, bore: float, roughness: float, fittings: float) -> SupplyPipe:
    return SupplyPipe(
        length=f"{length:.9g} m",
        bore=f"{bore:.9g} m",
        roughness=f"{roughness:.9g} m",
        fittings_k=fittings,
    )


def friction(reynolds: float, bore: float, roughness: float, near: float) -> Callable[[], Found]:
    """Return how to find the friction factor that a full-bore flow was computed with.

    The pressure is the one that gives this Reynolds number if the factor is ``near``.
    """
    length = 100.0

    def find() -> Found:
        velocity = reynolds * VISCOSITY / (DENSITY * bore)
        pressure = (near * length / bore + 1.0) * DENSITY * velocity**2 / 2.0
        found = full_bore_flow(pipe(length, bore, roughness, 0.0), pressure)
        found /= math.pi / 4.0 * bore**2
        return Found((2.0 * pressure / (DENSITY * found**2) - 1.0) * bore / length)

    return find


def two_bores() -> Found:
    """A head of 11.5 ft over 10 ft of 3 inch and 20 ft of 2 inch pipe, schedule 40, gal/min.

    The losses of the wide pipe (entrance 0.5, mitre bend 60 f, gate valve 8 f, length) are put on
    the velocity of the narrow one; the contraction is 0.5 (1 - beta^2). Crane: f = 0.0173 in
    complete turbulence in the fittings, 0.0204 in the wide pipe.
    """
    foot, inch = 0.3048, 0.0254
    wide, narrow = 3.068 * inch, 2.067 * inch
    beta = narrow / wide
    before = 0.5 + 68 * 0.0173 + 0.0204 * 10 * foot / wide
    losses = before * beta**4 + 0.5 * (1.0 - beta**2)
    head = DENSITY * 9.80665 * 11.5 * foot
    found = full_bore_flow(pipe(20 * foot, narrow, 0.0018 * inch, losses), head)
    return Found(found / GALLON_A_MINUTE)


PIPES = [
    Check(
        "Flow through a supply pipe",
        "friction factor, Re 1E5, relative roughness 1E-4",
        friction(1e5, 0.05, 5e-6, 0.0185139),
        FRICTION,
        "published",
        "0.0185139",
        exact="0.0185139",
        note="the factor comes out of a full-bore flow that shutoffsim solves for.",
    ),
    Check(
        "Flow through a supply pipe",
        "friction factor, smooth, Re 100 600",
        friction(100_600, 0.05, 0.0, 0.018),
        CRANE.format("7.1"),
        "secondary",
        "0.0179",
        within=1e-4,
        note="printed from a chart; the smooth-pipe law gives 0.01797.",
    ),
    Check(
        "Flow through a supply pipe",
        "11.5 ft head, 3 inch and 2 inch pipe, gal/min",
        two_bores,
        CRANE.format("7.19"),
        "secondary",
        "137",
        within=2.0,
        note=(
            "a hand calculation, followed to 1.5 %. The library's example refers losses from one "
            "bore to the other by the nominal ratio 2/3, not the true 0.674, and gets 136.7."
        ),
    ),
]

CHECKS = [*HOLES, *PIPES]

LEFT_OUT = [
    LeftOut(
        "Time to drain a tank (93.4 s, 102.99 s, 39 909 s)",
        "stored water above a leak is released as a volume, without a time",
    ),
    LeftOut(
        "Crane TP-410, 7.14 (printed with an error) and 7.29 (orifice plate in a pipe)",
        "a pump, and a measuring orifice: no such thing in a supply",
    ),
    LeftOut(
        "Fixed and variable area leaks, exponents above 0.5",
        "the area of a hole does not grow with pressure here",
    ),
    LeftOut(
        "Meter classes of ISO 4064-1 (Q1 15.6 L/h for Q3 2.5 and R160)",
        "a scenario states the starting flow of a meter, not its class",
    ),
]
