"""The supply pipe: the flow that a pressure drives through it and through an opening behind it."""

from __future__ import annotations

import math

from shutoffsim.model.compiled import law

#: Reynolds number up to which flow in pipes is laminar (K. Avila, D. Moxey, A. de Lozar, M. Avila,
#: D. Barkley, B. Hof, "The onset of turbulence in pipe flow", Science 333, 2011).
LAMINAR = 2040.0
EXIT_LOSS = 1.0  # the velocity head of the water, which no opening gives back
_ENOUGH = 50  # steps; about ten are needed


@law
def pipe_flow(pressure, resistance, length, bore, roughness, fittings, factor, density, viscosity):
    """Return the flow [m3/s] through a pipe and an opening in series.

    Solves ``pressure = (f L / D + fittings + 1) rho v^2 / 2 + resistance Q^2`` (H. Darcy and
    J. Weisbach, any textbook of hydraulics) for the velocity. The friction factor f at this flow
    is 64 / Re up to a Reynolds number of 2040, and above it that of C. F. Colebrook ("Turbulent
    flow in pipes", Journal of the Institution of Civil Engineers 11, 1939),
    ``1 / sqrt(f) = -2 log10(roughness / (3.7 D) + 2.51 / (Re sqrt(f)))``. Between the two a pipe
    carries the flow at which it turns.

    Parameters
    ----------
    pressure : float
        Static pressure before the pipe, Pa.
    resistance : float
        Of the opening: its pressure over the square of its flow, Pa s2/m6.
    length, bore, roughness : float
        m.
    fittings : float
        Sum of the loss coefficients.
    factor : float
        The friction factor f where it is known; 0: as above.
    density, viscosity : float
        Of the water, kg/m3 and Pa s.
    """
    area = math.pi / 4.0 * bore * bore
    other = density / 2.0 * (fittings + EXIT_LOSS) + resistance * area * area
    along = density / 2.0 * length / bore
    if factor > 0.0:
        return area * math.sqrt(pressure / (along * factor + other))
    slow = 32.0 * viscosity * length / (bore * bore)
    laminar = 2.0 * pressure / (slow + math.sqrt(slow * slow + 4.0 * other * pressure))
    turning = LAMINAR * viscosity / (density * bore)
    if laminar <= turning:
        return area * laminar
    root = 7.0  # 1 / sqrt(f)
    velocity = turning
    for _ in range(_ENOUGH):
        velocity = max(math.sqrt(pressure / (along / (root * root) + other)), turning)
        reynolds = density * velocity * bore / viscosity
        better = -2.0 * math.log10(roughness / (3.7 * bore) + 2.51 * root / reynolds)
        if abs(better - root) <= 1e-13 * root:
            break
        root = better
    return area * velocity
