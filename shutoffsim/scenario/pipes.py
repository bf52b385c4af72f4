"""Full-bore flow of a supply pipe, where nobody has done the bucket test."""

from __future__ import annotations

import math

from shutoffsim.scenario.schema.water import SupplyPipe

# Water at 10 degC (common practice).
DENSITY = 999.7  # kg/m3
VISCOSITY = 1.31e-3  # Pa*s


def full_bore_flow(pipe: SupplyPipe, pressure: float) -> float:
    """Flow through a pipe whose far end is fully open.

    Solves ``p = (f L/D + K + 1) rho v^2 / 2`` (Darcy-Weisbach; the 1 is the velocity head that
    leaves the open end) for the velocity, with the friction factor from the fluids library.

    Parameters
    ----------
    pipe : SupplyPipe
        Length, bore and roughness in m, sum of loss coefficients.
    pressure : float
        Static pressure before the pipe, Pa.

    Returns
    -------
    float
        Flow in m3/s.

    Examples
    --------
    >>> pipe = SupplyPipe(length="15 m", bore="20 mm", roughness="0.01 mm", fittings_k=12)
    >>> round(full_bore_flow(pipe, 3e5) * 60000)
    86
    """
    from fluids.friction import friction_factor  # slow to import, seldom needed

    velocity = 2.0
    for _ in range(100):
        reynolds = DENSITY * velocity * pipe.bore / VISCOSITY
        friction = friction_factor(Re=reynolds, eD=pipe.roughness / pipe.bore)
        losses = friction * pipe.length / pipe.bore + pipe.fittings_k + 1.0
        better = math.sqrt(2.0 * pressure / (DENSITY * losses))
        if abs(better - velocity) <= 1e-12 * better:
            break
        velocity = better
    return better * math.pi / 4 * pipe.bore**2
